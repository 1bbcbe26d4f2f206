//! Argon2id in memory that is kept from one hash to the next, and the PHC strings it is stored as.

use super::HashingError;
use argon2::password_hash::phc::{Output, ParamsString, PasswordHash, Salt};
use argon2::{Algorithm, Argon2, Block, Params, Version};
use aws_lc_rs::rand::{SecureRandom, SystemRandom};

/// Bytes of salt and of hash, as RFC 9106 recommends.
const SALT: usize = 16;
const HASH: usize = 32;

/// Blocks of 1 KiB that are asked for at least, though fewer are touched: above 32 MiB the system's
/// allocator maps memory apart, whatever was given back before, and returns it when it is dropped
/// (`mallopt(3)`, `M_MMAP_THRESHOLD`). What is never touched takes no memory.
const MAPPED_APART: usize = 33 * 1024;

/// Where a hash is worked out.
#[derive(Default)]
pub(super) struct Memory(Vec<Block>);

/// The PHC string of a password, with a fresh salt.
pub(super) fn hash(params: &Params, password: &str, memory: &mut Memory) -> Result<String, HashingError> {
    let mut salt = [0_u8; SALT];
    SystemRandom::new().fill(&mut salt).map_err(|_| HashingError::Failed)?;
    let mut out = [0_u8; HASH];
    work_out(params, password, &salt, &mut out, memory)?;
    let made = PasswordHash {
        algorithm: Algorithm::Argon2id.ident(),
        version: Some(Version::V0x13.into()),
        params: ParamsString::try_from(params).map_err(|_| HashingError::Failed)?,
        salt: Some(Salt::new(&salt).map_err(|_| HashingError::Failed)?),
        hash: Some(Output::new(&out).map_err(|_| HashingError::Failed)?),
    };
    Ok(made.to_string())
}

/// Whether a password gives the stored hash, worked out with the parameters it was stored with.
pub(super) fn fits(phc: &str, password: &str, memory: &mut Memory) -> Result<bool, HashingError> {
    let stored = read(phc)?;
    let params = Params::try_from(&stored).map_err(|_| HashingError::Failed)?;
    let (Some(salt), Some(expected)) = (&stored.salt, &stored.hash) else { return Err(HashingError::Failed) };
    let mut out = [0_u8; Output::MAX_LENGTH];
    let out = out.get_mut(..expected.len()).ok_or(HashingError::Failed)?;
    work_out(&params, password, salt, out, memory)?;
    // Outputs are compared in constant time.
    Ok(*expected == Output::new(out).map_err(|_| HashingError::Failed)?)
}

/// Whether a stored hash took less work than the parameters now ask.
pub(super) fn is_weaker(phc: &str, params: &Params) -> Result<bool, HashingError> {
    let had = Params::try_from(&read(phc)?).map_err(|_| HashingError::Failed)?;
    Ok(had.m_cost() < params.m_cost() || had.t_cost() < params.t_cost())
}

/// Only what [`hash`] writes is read: another algorithm or version is a damaged row.
fn read(phc: &str) -> Result<PasswordHash, HashingError> {
    let stored = PasswordHash::new(phc).map_err(|_| HashingError::Failed)?;
    let ours =
        stored.algorithm == Algorithm::Argon2id.ident() && stored.version == Some(Version::V0x13.into());
    ours.then_some(stored).ok_or(HashingError::Failed)
}

fn work_out(
    params: &Params,
    password: &str,
    salt: &[u8],
    out: &mut [u8],
    memory: &mut Memory,
) -> Result<(), HashingError> {
    let blocks = params.block_count();
    if memory.0.len() < blocks {
        memory.0.reserve_exact(blocks.max(MAPPED_APART).saturating_sub(memory.0.len()));
        memory.0.resize(blocks, Block::new());
    }
    let room = memory.0.get_mut(..blocks).ok_or(HashingError::Failed)?;
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params.clone());
    argon
        .hash_password_into_with_memory(password.as_bytes(), salt, out, room)
        .map_err(|_| HashingError::Failed)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use argon2::password_hash::{PasswordHasher, PasswordVerifier};

    fn params() -> Params {
        Params::new(64, 2, 1, None).unwrap()
    }

    #[test]
    fn the_librarys_own_reader_and_writer_agree() {
        let library = Argon2::new(Algorithm::Argon2id, Version::V0x13, params());
        let mut memory = Memory::default();
        let ours = hash(&params(), "five grey herons wading", &mut memory).unwrap();
        let parsed = PasswordHash::new(&ours).unwrap();
        assert!(library.verify_password(b"five grey herons wading", &parsed).is_ok());
        assert!(library.verify_password(b"five grey herons wadinG", &parsed).is_err());
        let theirs: PasswordHash = library.hash_password(b"five grey herons wading").unwrap();
        assert!(fits(&theirs.to_string(), "five grey herons wading", &mut memory).unwrap());
        assert!(!fits(&theirs.to_string(), "five grey herons", &mut memory).unwrap());
    }

    #[test]
    fn the_reference_implementations_answer_is_reproduced() {
        // From the test suite of the reference implementation (phc-winner-argon2, test.c:
        // hashtest(version 0x13, t 2, m 2^16, p 1, "password", "somesalt"), type id).
        let phc = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        assert!(fits(phc, "password", &mut Memory::default()).unwrap());
        assert!(!fits(phc, "Password", &mut Memory::default()).unwrap());
    }

    #[test]
    fn memory_is_reused_across_sizes_and_leaves_no_mark() {
        let mut memory = Memory::default();
        let small = hash(&params(), "one", &mut memory).unwrap();
        let large = hash(&Params::new(256, 2, 1, None).unwrap(), "two", &mut memory).unwrap();
        assert_eq!(memory.0.len(), 256);
        assert!(fits(&small, "one", &mut memory).unwrap());
        assert!(fits(&large, "two", &mut memory).unwrap());
        assert!(is_weaker(&small, &Params::new(256, 2, 1, None).unwrap()).unwrap());
        assert!(!is_weaker(&large, &params()).unwrap());
    }

    #[test]
    fn a_damaged_row_is_an_error_and_never_a_match() {
        for damaged in [
            "",
            "plain text",
            "$argon2d$v=19$m=64,t=2,p=1$c29tZXNhbHQ$AAAAAAAAAAAAAAAAAAAAAA",
            "$argon2id$v=19$m=64,t=2,p=1",
        ] {
            assert!(fits(damaged, "", &mut Memory::default()).is_err(), "{damaged}");
        }
    }
}
