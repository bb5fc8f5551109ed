"""Plan, day and link logic that runs unchanged on the desk and on the bench timer."""
