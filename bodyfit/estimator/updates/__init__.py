"""What is found anew between the solver's steps: mountings, joints, the field's level."""
