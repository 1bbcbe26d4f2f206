//! The tables as Diesel sees them. A test compares this page with the database.
#![allow(missing_docs, unused_qualifications, unreachable_pub, reason = "the macro writes these items")]

use diesel::{allow_tables_to_appear_in_same_query, table};

table! {
    fleets (fleet_id) {
        fleet_id -> Uuid,
        handle -> Text,
        created_at -> Timestamptz,
    }
}

table! {
    members (fleet_id, member_id) {
        fleet_id -> Uuid,
        member_id -> Uuid,
        handle -> Text,
        name -> Text,
        role -> Text,
        home_place_id -> Nullable<Uuid>,
        version -> BigInt,
        retired_at -> Nullable<Timestamptz>,
        created_at -> Timestamptz,
        created_digest -> Bytea,
        scope_revision -> BigInt,
    }
}

table! {
    passwords (fleet_id, member_id) {
        fleet_id -> Uuid,
        member_id -> Uuid,
        phc -> Text,
        changed_at -> Timestamptz,
    }
}

table! {
    entry_codes (fleet_id, member_id) {
        fleet_id -> Uuid,
        member_id -> Uuid,
        code_hash -> Bytea,
        made_at -> Timestamptz,
        ends_at -> Timestamptz,
        used_at -> Nullable<Timestamptz>,
    }
}

table! {
    pay_rates (fleet_id, member_id, from_on) {
        fleet_id -> Uuid,
        member_id -> Uuid,
        from_on -> Date,
        hourly_amount -> Numeric,
        burden_share -> Numeric,
    }
}

table! {
    lanes (fleet_id, lane_id) {
        fleet_id -> Uuid,
        lane_id -> Uuid,
        member_id -> Uuid,
        name -> Text,
        last_n -> BigInt,
        frozen_at -> Nullable<Timestamptz>,
        enrolled_at -> Timestamptz,
        device_key -> Nullable<Bytea>,
        safe_n -> BigInt,
        revoked_at -> Nullable<Timestamptz>,
    }
}

table! {
    sessions (fleet_id, session_id) {
        fleet_id -> Uuid,
        session_id -> Uuid,
        member_id -> Uuid,
        current_hash -> Bytea,
        previous_hash -> Nullable<Bytea>,
        renewals -> BigInt,
        rotated_at -> Timestamptz,
        started_at -> Timestamptz,
        ends_at -> Timestamptz,
        ended_at -> Nullable<Timestamptz>,
        end_reason -> Nullable<Text>,
        device_key -> Nullable<Bytea>,
        unproven_at -> Nullable<Timestamptz>,
    }
}

table! {
    security_notes (fleet_id, note_id) {
        fleet_id -> Uuid,
        note_id -> Uuid,
        member_id -> Nullable<Uuid>,
        what -> Text,
        noted_at -> Timestamptz,
    }
}

table! {
    cards (fleet_id, card_id) {
        fleet_id -> Uuid,
        card_id -> Uuid,
        kind -> Text,
        version -> BigInt,
        body -> Jsonb,
        created_digest -> Bytea,
        created_at -> Timestamptz,
        edited_at -> Timestamptz,
        retired_at -> Nullable<Timestamptz>,
        field_stamps -> Nullable<Jsonb>,
    }
}

table! {
    card_links (fleet_id, card_id, target_id) {
        fleet_id -> Uuid,
        card_id -> Uuid,
        target_id -> Uuid,
    }
}

table! {
    jobs (fleet_id, job_id) {
        fleet_id -> Uuid,
        job_id -> Uuid,
        place_id -> Uuid,
        client_id -> Uuid,
        vehicle_id -> Uuid,
        state -> Text,
        starts_at -> Timestamptz,
        ends_at -> Timestamptz,
        month -> Date,
        net_revenue_amount -> Numeric,
    }
}

table! {
    entries (fleet_id, entry_id) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        kind -> Text,
        form -> SmallInt,
        lane_id -> Nullable<Uuid>,
        n -> Nullable<BigInt>,
        member_id -> Uuid,
        place_id -> Nullable<Uuid>,
        happened_at -> Timestamptz,
        received_at -> Timestamptz,
        body -> Json,
        digest -> Bytea,
        verdict -> Text,
        code -> Nullable<Text>,
        sentence -> Nullable<Text>,
        basis -> Nullable<Json>,
        reversed_by -> Nullable<Uuid>,
        envelope -> Nullable<Jsonb>,
        answer -> Nullable<Jsonb>,
        booked_turn -> Nullable<BigInt>,
        booked_line -> Nullable<Integer>,
        decided_by -> Nullable<Uuid>,
        decided_at -> Nullable<Timestamptz>,
    }
}

table! {
    field_history (fleet_id, value_id) {
        fleet_id -> Uuid,
        value_id -> Uuid,
        card_id -> Uuid,
        field -> Text,
        value -> Jsonb,
        stamp -> Text,
        lane_id -> Uuid,
        member_id -> Uuid,
        entry_id -> Nullable<Uuid>,
        outcome -> Text,
        at -> Timestamptz,
        decision -> Nullable<Text>,
        decided_by -> Nullable<Uuid>,
        decided_at -> Nullable<Timestamptz>,
    }
}

table! {
    deleted_cards (fleet_id, card_id) {
        fleet_id -> Uuid,
        card_id -> Uuid,
        kind -> Text,
        member_id -> Uuid,
        deleted_at -> Timestamptz,
    }
}

table! {
    parked (fleet_id, entry_id) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        entry -> Jsonb,
        parked_at -> Timestamptz,
        look -> Bool,
    }
}

table! {
    parked_waits (fleet_id, entry_id, what) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        what -> Uuid,
    }
}

table! {
    set_aside (fleet_id, set_aside_id) {
        fleet_id -> Uuid,
        set_aside_id -> Uuid,
        lane_id -> Uuid,
        member_id -> Uuid,
        place_id -> Nullable<Uuid>,
        entry_id -> Uuid,
        digest -> Bytea,
        entry -> Jsonb,
        why -> Text,
        set_aside_at -> Timestamptz,
        decision -> Nullable<Text>,
        booked_as -> Nullable<Uuid>,
        decided_by -> Nullable<Uuid>,
        decided_at -> Nullable<Timestamptz>,
    }
}

table! {
    stock_lines (fleet_id, entry_id, line) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        line -> Integer,
        item_id -> Uuid,
        place_id -> Uuid,
        what -> Text,
        quantity -> Numeric,
        amount -> Numeric,
        job_id -> Nullable<Uuid>,
        booked_on -> Date,
    }
}

table! {
    stock_levels (fleet_id, item_id, place_id) {
        fleet_id -> Uuid,
        item_id -> Uuid,
        place_id -> Uuid,
        quantity -> Numeric,
    }
}

table! {
    stock_values (fleet_id, item_id) {
        fleet_id -> Uuid,
        item_id -> Uuid,
        quantity -> Numeric,
        amount -> Numeric,
        last_unit_amount -> Nullable<Numeric>,
    }
}

table! {
    use_days (fleet_id, item_id, place_id, used_on) {
        fleet_id -> Uuid,
        item_id -> Uuid,
        place_id -> Uuid,
        used_on -> Date,
        quantity -> Numeric,
    }
}

table! {
    cost_lines (fleet_id, entry_id, line) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        line -> Integer,
        job_id -> Nullable<Uuid>,
        what -> Text,
        subject_id -> Nullable<Uuid>,
        quantity -> Numeric,
        unit -> Text,
        amount -> Numeric,
        booked_on -> Date,
    }
}

table! {
    cost_figures (fleet_id, month, job_id, what) {
        fleet_id -> Uuid,
        month -> Date,
        job_id -> Uuid,
        what -> Text,
        quantity -> Numeric,
        amount -> Numeric,
    }
}

table! {
    container_levels (fleet_id, container_id) {
        fleet_id -> Uuid,
        container_id -> Uuid,
        item_id -> Uuid,
        place_id -> Uuid,
        dose -> Text,
        prior_ml_per_dose -> Double,
        began_ml_per_dose -> Double,
        began_sd_ml_per_dose -> Double,
        remaining_ml -> Double,
        ml_per_dose -> Double,
        p00 -> Double,
        p01 -> Double,
        p11 -> Double,
        weigh_ins -> Integer,
        flagged -> Integer,
        doses_since -> BigInt,
        draws_since -> Jsonb,
        last_weigh_id -> Nullable<Uuid>,
        opened_at -> Timestamptz,
    }
}

table! {
    container_marks (fleet_id, entry_id) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        container_id -> Uuid,
        before -> Nullable<Jsonb>,
    }
}

table! {
    pad_states (fleet_id, pad_id) {
        fleet_id -> Uuid,
        pad_id -> Uuid,
        item_id -> Uuid,
        place_id -> Uuid,
        cycles -> Integer,
        cycles_since_wash -> Integer,
        washes -> Integer,
        load_ml -> Numeric,
        worked_m2 -> Numeric,
        cost_amount -> Numeric,
        charged_amount -> Numeric,
        first_used_at -> Timestamptz,
        retired_at -> Nullable<Timestamptz>,
        retired_why -> Nullable<Text>,
    }
}

table! {
    pad_lines (fleet_id, entry_id, line) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        line -> Integer,
        pad_id -> Uuid,
        job_id -> Nullable<Uuid>,
        cycles -> Integer,
        cycles_since_wash -> Integer,
        washes -> Integer,
        load_ml -> Numeric,
        worked_m2 -> Numeric,
        amount -> Numeric,
    }
}

table! {
    heads (fleet_id) {
        fleet_id -> Uuid,
        head -> BigInt,
        floor -> BigInt,
        era -> Uuid,
        dwelling -> Text,
        backed_up_to -> Nullable<Timestamptz>,
    }
}

table! {
    trail (fleet_id, audience_id, kind, record_id) {
        fleet_id -> Uuid,
        audience_id -> Uuid,
        record_id -> Uuid,
        kind -> Text,
        position -> BigInt,
        turn -> BigInt,
        body -> Json,
        state -> Text,
        told_at -> Timestamptz,
    }
}

table! {
    file_room (fleet_id) {
        fleet_id -> Uuid,
        bytes -> BigInt,
        files -> BigInt,
        swept_on -> Nullable<Date>,
    }
}

table! {
    uploads (fleet_id, sha256, member_id) {
        fleet_id -> Uuid,
        sha256 -> Bytea,
        member_id -> Uuid,
        upload_id -> Uuid,
        size_bytes -> BigInt,
        media_type -> Text,
        what -> Text,
        name -> Nullable<Text>,
        received_bytes -> BigInt,
        reserved_at -> Timestamptz,
        touched_at -> Timestamptz,
        finished_at -> Nullable<Timestamptz>,
    }
}

table! {
    upload_parts (fleet_id, upload_id, offset_bytes) {
        fleet_id -> Uuid,
        upload_id -> Uuid,
        offset_bytes -> BigInt,
        size_bytes -> BigInt,
        made_on -> Date,
        part_id -> Uuid,
    }
}

table! {
    files (fleet_id, sha256) {
        fleet_id -> Uuid,
        sha256 -> Bytea,
        made_on -> Date,
        file_id -> Uuid,
        media_type -> Text,
        what -> Text,
        name -> Nullable<Text>,
        sent_bytes -> BigInt,
        kept_bytes -> BigInt,
        kept_sha256 -> Bytea,
        kept_at -> Timestamptz,
        damaged_at -> Nullable<Timestamptz>,
    }
}

table! {
    file_uses (fleet_id, entry_id) {
        fleet_id -> Uuid,
        entry_id -> Uuid,
        job_id -> Uuid,
        sha256 -> Bytea,
    }
}

allow_tables_to_appear_in_same_query!(
    fleets,
    file_room,
    uploads,
    upload_parts,
    files,
    file_uses,
    members,
    passwords,
    entry_codes,
    pay_rates,
    lanes,
    sessions,
    security_notes,
    cards,
    card_links,
    jobs,
    entries,
    field_history,
    deleted_cards,
    parked,
    parked_waits,
    set_aside,
    stock_lines,
    stock_levels,
    stock_values,
    use_days,
    cost_lines,
    cost_figures,
    container_levels,
    container_marks,
    pad_states,
    pad_lines,
    heads,
    trail,
);
