-- What an angler guessed beforehand: of 100 fish, how many will take the changed fly. Sealed until the trial is published.
ALTER TABLE enrolments ADD COLUMN guess smallint, ADD CONSTRAINT enrolments_guess_check CHECK (guess BETWEEN 0 AND 100);
