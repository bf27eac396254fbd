-- What is known of an operator.
ALTER TABLE operators ADD COLUMN handed TEXT;
ALTER TABLE operators ADD COLUMN stature_cm DOUBLE PRECISION;
ALTER TABLE operators ADD COLUMN loupes_declination_deg DOUBLE PRECISION;
ALTER TABLE operators ADD COLUMN chair_height_cm DOUBLE PRECISION;
ALTER TABLE operators ADD COLUMN stool_height_cm DOUBLE PRECISION;
ALTER TABLE operators ADD COLUMN neutral_session TEXT REFERENCES sessions (id) ON DELETE SET NULL;
