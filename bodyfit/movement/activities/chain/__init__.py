"""The chain of activities over time: which may follow which, how long they last, how probable each is."""
