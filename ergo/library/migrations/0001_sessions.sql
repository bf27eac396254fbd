-- Sessions with a name and tags, and who was filmed.
CREATE TABLE library (
    id TEXT PRIMARY KEY
);
CREATE TABLE operators (
    pseudonym TEXT PRIMARY KEY
);
CREATE TABLE sessions (
    id TEXT PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    added_at TEXT NOT NULL,
    recorded_on TEXT,
    operator TEXT REFERENCES operators (pseudonym) ON UPDATE CASCADE ON DELETE SET NULL
);
CREATE TABLE tags (
    session_id TEXT NOT NULL REFERENCES sessions (id) ON DELETE CASCADE,
    tag TEXT NOT NULL,
    PRIMARY KEY (session_id, tag)
);
