//! Access tokens: one algorithm, known keys, every claim checked (T07, T08), only as a bearer (T15).

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use dropwise::auth::Keys;
use end_to_end::server::parts;
use end_to_end::{Client, Fleet, TestServer, World};
use jsonwebtoken::{Algorithm, EncodingKey, Header, decode_header, encode};
use serde_json::{Value, json};

/// A server whose signing key the test holds as well.
struct Forge {
    world: World,
    fleet: Fleet,
    server: TestServer,
    /// The signing key's file.
    der: Vec<u8>,
    kid: String,
}

impl Forge {
    fn new() -> Self {
        let world = World::new();
        let fleet = world.fleet("harbour");
        let folder = tempfile::tempdir().expect("a folder");
        let keys = Keys::open(folder.path()).expect("keys");
        let der = std::fs::read(folder.path().join("access-0001.der")).expect("the key");
        let issued = dropwise::auth::token::issue(&keys, bearer(&fleet), world.clock.now()).expect("a token");
        let kid = decode_header(&issued).expect("a header").kid.expect("a kid");
        let keys = actix_web::web::Data::new(keys);
        let parts = parts(&world.db.server_url(), &world.clock, 1);
        let server = TestServer::start_parts(dropwise::server::Parts { keys, ..parts });
        Self { world, fleet, server, der, kid }
    }

    fn header(&self) -> Header {
        Header { typ: Some("at+jwt".into()), kid: Some(self.kid.clone()), ..Header::new(Algorithm::EdDSA) }
    }

    /// Claims as the server makes them.
    fn claims(&self) -> Value {
        let now = self.now();
        json!({
            "iss": "dropwise", "aud": "dropwise-api", "sub": self.fleet.owner.id, "fleet": self.fleet.id,
            "sid": self.fleet.owner.session, "iat": now, "nbf": now, "exp": now + 900,
        })
    }

    fn now(&self) -> i64 {
        let now: DateTime<Utc> = self.world.clock.now();
        now.timestamp()
    }

    fn signed(&self, header: &Header, claims: &Value) -> String {
        encode(header, claims, &EncodingKey::from_ed_der(&self.der)).expect("a token")
    }

    fn with(&self, claim: &str, value: Value) -> String {
        let mut claims = self.claims();
        claims[claim] = value;
        self.signed(&self.header(), &claims)
    }

    fn without(&self, claim: &str) -> String {
        let mut claims = self.claims();
        claims.as_object_mut().expect("claims").remove(claim);
        self.signed(&self.header(), &claims)
    }

    fn status(&self, token: &str) -> u16 {
        Client::new(self.server.address).with_token(token).get("/v1/members/self").status
    }
}

fn bearer(fleet: &Fleet) -> dropwise::auth::token::Bearer {
    dropwise::auth::token::Bearer { fleet: fleet.id, member: fleet.owner.id, session: fleet.owner.session }
}

fn part(value: &Value) -> String {
    URL_SAFE_NO_PAD.encode(value.to_string())
}

#[test]
fn only_a_token_whole_in_every_part_lets_anyone_in() {
    let forge = Forge::new();
    let good = forge.signed(&forge.header(), &forge.claims());
    assert_eq!(forge.status(&good), 200, "the control: what the forge makes is what the server makes");
    let [head, body, signature] = good.split('.').collect::<Vec<_>>()[..] else { panic!("three parts") };
    let public = &forge.der[forge.der.len() - 32..];
    let hs256 = |key: &[u8]| {
        let header = Header { alg: Algorithm::HS256, ..forge.header() };
        encode(&header, &forge.claims(), &EncodingKey::from_secret(key)).expect("a token")
    };
    let other_key = {
        let folder = tempfile::tempdir().expect("a folder");
        let _ = Keys::open(folder.path()).expect("keys");
        let der = std::fs::read(folder.path().join("access-0001.der")).expect("a key");
        encode(&forge.header(), &forge.claims(), &EncodingKey::from_ed_der(&der)).expect("a token")
    };
    let mut flipped = signature.to_owned();
    let first = if flipped.starts_with('A') { "B" } else { "A" };
    flipped.replace_range(..1, first);
    let mut office = forge.claims();
    office["sub"] = json!(forge.fleet.office.id);
    let none = json!({"alg": "none", "typ": "at+jwt", "kid": forge.kid});
    let now = forge.now();
    let bad = [
        ("alg none", format!("{}.{body}.", part(&none))),
        ("alg none, signature kept", format!("{}.{body}.{signature}", part(&none))),
        ("signature stripped", format!("{head}.{body}.")),
        ("two parts", format!("{head}.{body}")),
        ("signature altered", format!("{head}.{body}.{flipped}")),
        ("claims altered", format!("{head}.{}.{signature}", part(&office))),
        ("HS256 with the public key", hs256(public)),
        ("HS256 with the public key as text", hs256(URL_SAFE_NO_PAD.encode(public).as_bytes())),
        ("another key under our kid", other_key),
        (
            "unknown kid",
            forge.signed(&Header { kid: Some("unknown".into()), ..forge.header() }, &forge.claims()),
        ),
        ("no kid", forge.signed(&Header { kid: None, ..forge.header() }, &forge.claims())),
        ("wrong typ", forge.signed(&Header { typ: Some("JWT".into()), ..forge.header() }, &forge.claims())),
        ("no typ", forge.signed(&Header { typ: None, ..forge.header() }, &forge.claims())),
        ("wrong issuer", forge.with("iss", json!("someone"))),
        ("wrong audience", forge.with("aud", json!("another-api"))),
        ("expired", forge.with("exp", json!(now - 6))),
        ("not yet", forge.with("nbf", json!(now + 60))),
        ("exp as text", forge.with("exp", json!("x"))),
        ("exp at the end of time", forge.with("exp", json!(i64::MAX))),
        ("longer than fifteen minutes", forge.with("exp", json!(now + 901))),
        ("no exp", forge.without("exp")),
        ("no nbf", forge.without("nbf")),
        ("no iss", forge.without("iss")),
        ("no aud", forge.without("aud")),
        ("no sub", forge.without("sub")),
        ("no session", forge.without("sid")),
        ("another member's session", forge.with("sub", json!(forge.fleet.office.id))),
        ("another fleet", forge.with("fleet", json!(uuid::Uuid::new_v4()))),
        ("nothing", String::new()),
        ("three dots", "...".to_owned()),
        ("a very long one", "a".repeat(4000)),
    ];
    for (what, token) in bad {
        assert_eq!(forge.status(&token), 401, "{what}");
    }
    assert_eq!(forge.status(&good), 200, "the good one still holds");
}

#[test]
fn five_seconds_of_leeway_and_not_one_more() {
    let forge = Forge::new();
    // The wide side leaves room for the second in which the test itself works.
    assert_eq!(forge.status(&forge.with("exp", json!(forge.now() - 2))), 200);
    assert_eq!(forge.status(&forge.with("exp", json!(forge.now() - 5))), 401);
    assert_eq!(forge.status(&forge.with("nbf", json!(forge.now() + 4))), 200);
    assert_eq!(forge.status(&forge.with("nbf", json!(forge.now() + 30))), 401);
}

#[test]
fn a_token_counts_only_in_the_authorization_header() {
    let world = World::new();
    let fleet = world.fleet("harbour");
    let token = fleet.token(fleet.owner);
    let nobody = world.as_nobody();
    for cookie in [
        format!("access_token={token}"),
        format!("__Host-session={token}"),
        format!("Authorization=Bearer {token}"),
    ] {
        nobody
            .send("GET", "/v1/members/self", &[("cookie", &cookie)], None)
            .expect_problem(401, "not_signed_in");
    }
    let named = format!("/v1/members/self?access_token={token}");
    nobody.get(&named).expect_problem(401, "not_signed_in");
    for scheme in ["Basic", "bearer", "Token", ""] {
        let value = format!("{scheme} {token}");
        let answer = nobody.send("GET", "/v1/members/self", &[("authorization", &value)], None);
        // RFC 9110: the scheme's name is read without regard to case.
        let expected = if scheme == "bearer" { 200 } else { 401 };
        assert_eq!(answer.status, expected, "{scheme}");
    }
    let answer = nobody.get("/v1/members/self").expect(401);
    assert_eq!(answer.header("www-authenticate"), Some("Bearer"));
}
