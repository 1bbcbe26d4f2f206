//! What keeps the fleets' work safe, tried under fire.
