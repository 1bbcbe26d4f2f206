-- A phone may be enrolled with a key of its own; the session that enrols it is bound to that key from
-- then on. Ed25519 public keys (RFC 8032): 32 bytes. Without a key everything stays as it was.

alter table lanes add column device_key bytea check (octet_length(device_key) = 32);
alter table sessions
    add column device_key bytea check (octet_length(device_key) = 32),
    -- When its token last came without a proof of the key: the owner is told once a day, not each time.
    add column unproven_at timestamptz;
