DROP TABLE invitations, memberships, clubs, tokens, accounts;
