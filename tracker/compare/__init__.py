"""Several photos held against one another: sets of one state, changes, past results."""
