-- +goose Up

-- What the program keeps to itself: keys that it makes once.
CREATE TABLE settings (
    name  TEXT PRIMARY KEY,
    value BLOB NOT NULL
);

-- Times are RFC 3339 in UTC, whole seconds; dates are YYYY-MM-DD. Both sort as text.
CREATE TABLE ledger (
    seq      INTEGER PRIMARY KEY,
    at       TEXT NOT NULL,
    who      TEXT NOT NULL,
    kind     TEXT NOT NULL,
    unit     TEXT NOT NULL,
    digest   TEXT NOT NULL,
    detail   TEXT NOT NULL,
    previous TEXT NOT NULL,
    hash     TEXT NOT NULL
);
CREATE INDEX ledger_by_kind ON ledger (kind, unit);
CREATE INDEX ledger_by_unit ON ledger (unit);

-- +goose StatementBegin
CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger
BEGIN
    SELECT RAISE(ABORT, 'the ledger is append-only: a row cannot be changed');
END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER ledger_no_delete BEFORE DELETE ON ledger
BEGIN
    SELECT RAISE(ABORT, 'the ledger is append-only: a row cannot be removed');
END;
-- +goose StatementEnd

-- INSERT OR REPLACE removes a row without asking ledger_no_delete, so a new row
-- has to follow the last one.
-- +goose StatementBegin
CREATE TRIGGER ledger_in_order BEFORE INSERT ON ledger
WHEN NEW.seq <> (SELECT COALESCE(MAX(seq), 0) + 1 FROM ledger)
  OR NEW.previous <> COALESCE((SELECT hash FROM ledger ORDER BY seq DESC LIMIT 1), '')
BEGIN
    SELECT RAISE(ABORT, 'the ledger is append-only: a row must follow the last one');
END;
-- +goose StatementEnd

CREATE TABLE editions (
    week      TEXT PRIMARY KEY,
    state     TEXT NOT NULL CHECK (state IN ('frozen', 'sending', 'stopped', 'sent')),
    why       TEXT NOT NULL DEFAULT '',
    frozen_by TEXT NOT NULL,
    frozen_at TEXT NOT NULL,
    subject   TEXT NOT NULL,
    html      BLOB NOT NULL,
    plain     BLOB NOT NULL,
    record    TEXT NOT NULL,
    movement  TEXT NOT NULL,
    digest    TEXT NOT NULL,
    sent_at   TEXT NOT NULL DEFAULT '',
    sent_on   TEXT NOT NULL DEFAULT ''
);

CREATE TABLE edition_pictures (
    week       TEXT NOT NULL REFERENCES editions (week) ON DELETE CASCADE,
    place      INTEGER NOT NULL,
    content_id TEXT NOT NULL,
    name       TEXT NOT NULL,
    jpeg       BLOB NOT NULL,
    PRIMARY KEY (week, place)
);

CREATE TABLE members (
    id           TEXT PRIMARY KEY,
    address      TEXT NOT NULL,
    name         TEXT NOT NULL,
    state        TEXT NOT NULL CHECK (state IN ('joining', 'joined', 'paused', 'left', 'dead')),
    giving_from  TEXT NOT NULL DEFAULT '',
    giving_until TEXT NOT NULL DEFAULT '',
    added_at     TEXT NOT NULL
);
-- RFC 5321 2.4 lets a mailbox tell Ann from ann; no one gets two letters for it here.
CREATE UNIQUE INDEX members_by_address ON members (lower(address));

-- One row each time a person agreed; the last one counts.
CREATE TABLE consents (
    member          TEXT NOT NULL REFERENCES members (id) ON DELETE CASCADE,
    place           INTEGER NOT NULL,
    basis           TEXT NOT NULL CHECK (basis IN ('consent', 'charity-soft-opt-in')),
    source          TEXT NOT NULL,
    wording_version TEXT NOT NULL,
    consented_at    TEXT NOT NULL,
    withdrawn_at    TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (member, place)
);

-- A run of posting holds its letters for as long as it renews its own lease.
CREATE TABLE post_runs (
    id    TEXT PRIMARY KEY,
    until INTEGER NOT NULL -- milliseconds since 1970, UTC
);

-- A member is known here by random id alone, and the row outlives the member.
CREATE TABLE deliveries (
    week      TEXT NOT NULL REFERENCES editions (week),
    member    TEXT NOT NULL,
    state     TEXT NOT NULL CHECK (state IN
              ('waiting', 'leased', 'closing', 'sent', 'refused', 'skipped', 'unsure')),
    run       TEXT NOT NULL DEFAULT '', -- the run that took it last
    attempts  INTEGER NOT NULL DEFAULT 0,
    first_put_off INTEGER NOT NULL DEFAULT 0, -- ms: when a server first said "later"
    not_before    INTEGER NOT NULL DEFAULT 0, -- ms
    at        TEXT NOT NULL,            -- of the last change of state
    reply     TEXT NOT NULL DEFAULT '', -- codes only: server text can hold the address
    PRIMARY KEY (week, member)
);
CREATE INDEX deliveries_due ON deliveries (week, state, attempts, not_before, member);
