DROP TABLE enrolments, state_changes, protocols, trials;
