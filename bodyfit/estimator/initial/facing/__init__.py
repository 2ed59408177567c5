"""How units are found to face: the joints of a recording made into likelihoods, and the tree solved."""
