-- What no part of the program reads is not kept of an operator.
ALTER TABLE operators DROP COLUMN chair_height_cm;
ALTER TABLE operators DROP COLUMN stool_height_cm;
ALTER TABLE operators DROP COLUMN neutral_session;
