-- +goose Up

-- The words that people agreed to, kept as they were: a file may change, what
-- somebody agreed to does not.
CREATE TABLE consent_wordings (
    version TEXT PRIMARY KEY,
    digest  TEXT NOT NULL, -- SHA-256 of words, in hexadecimal
    words   TEXT NOT NULL,
    kept_at TEXT NOT NULL
);

ALTER TABLE consents ADD COLUMN wording_digest TEXT NOT NULL DEFAULT ''; -- empty: the words were never seen here
ALTER TABLE consents ADD COLUMN confirmed_at   TEXT NOT NULL DEFAULT ''; -- by the owner of the address

-- What the charity's soft opt-in asks for; empty for any other basis.
ALTER TABLE consents ADD COLUMN collected TEXT NOT NULL DEFAULT '';
ALTER TABLE consents ADD COLUMN because   TEXT NOT NULL DEFAULT '';
ALTER TABLE consents ADD COLUMN purpose   TEXT NOT NULL DEFAULT '';
ALTER TABLE consents ADD COLUMN refusal   TEXT NOT NULL DEFAULT '';

-- Who asked to get the letters and has not confirmed it. It becomes a consent
-- when they do, and goes when they do not. Somebody who left stays left until then.
CREATE TABLE joinings (
    member          TEXT PRIMARY KEY REFERENCES members (id) ON DELETE CASCADE,
    name            TEXT NOT NULL,
    basis           TEXT NOT NULL CHECK (basis IN ('consent', 'charity-soft-opt-in')),
    source          TEXT NOT NULL,
    wording_version TEXT NOT NULL,
    wording_digest  TEXT NOT NULL DEFAULT '',
    consented_at    TEXT NOT NULL,
    collected       TEXT NOT NULL DEFAULT '',
    because         TEXT NOT NULL DEFAULT '',
    purpose         TEXT NOT NULL DEFAULT '',
    refusal         TEXT NOT NULL DEFAULT '',
    asked_at        TEXT NOT NULL, -- first
    asked_last      TEXT NOT NULL
);

INSERT INTO joinings (member, name, basis, source, wording_version, consented_at, asked_at, asked_last)
SELECT m.id, m.name, c.basis, c.source, c.wording_version, c.consented_at, m.added_at, m.added_at
FROM members m JOIN consents c ON c.member = m.id
     AND c.place = (SELECT MAX(place) FROM consents WHERE member = m.id)
WHERE m.state = 'joining';
DELETE FROM consents WHERE member IN (SELECT id FROM members WHERE state = 'joining');

-- Who must not be brought in by a list and is not here to be seen as having
-- left: known by a keyed mark alone, whose key is not in this database.
CREATE TABLE kept_out (
    mark TEXT PRIMARY KEY, -- HMAC-SHA-256 of the address, in hexadecimal
    key  TEXT NOT NULL,    -- the name of the key that made it
    why  TEXT NOT NULL CHECK (why IN ('left', 'forgotten')),
    at   TEXT NOT NULL
);

-- Where lists of members were written to, so that they can be named when somebody
-- asks to be forgotten.
CREATE TABLE member_exports (
    path TEXT PRIMARY KEY,
    at   TEXT NOT NULL
);
