//! Phones, the network between, the server, the office, and everybody's clocks.

use super::faults::Fault;
use super::intents;
use super::script::{Act, Step};
use super::server::judge::Changed;
use super::server::office::Deed;
use super::server::tables::{Card, CardKind, Fleet, Member};
use super::server::trail::Trail;
use super::server::{self, Asker, Committed, Server};
use super::watch::Watch;
use crate::phone::wire::{Reply, Request};
use crate::phone::{Limits, Now, Phone};
use dropwise::sync::rules::job_state::State;
use dropwise::sync::rules::stamp::Hlc;
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Noon of an invented day (ms).
const START_MS: i64 = 1_800_000_000_000;
const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
/// Most phones, copies among them.
const PHONES: usize = 9;

/// A phone in somebody's hand.
#[derive(Debug, Clone)]
pub struct Device {
    /// The machine.
    pub phone: Phone,
    /// Whose session it has.
    pub who: Asker,
    /// Which of its requests it waits for.
    ask: u64,
    online: bool,
    /// Its clock less the true time (ms).
    skew_ms: i64,
}

#[derive(Debug, Clone)]
enum Message {
    ToServer(Request),
    ToPhone(Reply),
}

#[derive(Debug, Clone)]
struct Packet {
    device: usize,
    ask: u64,
    message: Message,
}

#[derive(Debug, Clone)]
enum Work {
    Asked { device: usize, ask: u64, request: Request, overloaded_after: usize },
    Office { deed: Deed, salt: u32 },
}

/// A transaction that has begun.
#[derive(Debug, Clone)]
struct Open {
    fleet: Uuid,
    work: Work,
    first: Option<i64>,
    now_ms: i64,
}

/// Everything there is.
#[derive(Debug)]
pub struct World {
    /// The server.
    pub server: Server,
    /// The phones.
    pub devices: Vec<Device>,
    /// What was seen so far, for the checker.
    pub watch: Watch,
    network: Vec<Packet>,
    open: Vec<Open>,
    now_ms: i64,
    ids: u128,
}

impl World {
    /// Two businesses: four people in three vans, and two in one.
    #[must_use]
    pub fn new(fault: Option<Fault>) -> Self {
        let mut world = Self {
            server: Server::new(fault),
            devices: vec![],
            watch: Watch::default(),
            network: vec![],
            open: vec![],
            now_ms: START_MS,
            ids: 0,
        };
        for (people, vans) in [(4, 3), (2, 1)] {
            world.found(people, vans);
        }
        world
    }

    fn found(&mut self, people: usize, vans: usize) {
        let id = self.id();
        let places: Vec<Uuid> = (0..vans).map(|_| self.id()).collect();
        let mut fleet = Fleet {
            id,
            era: 0,
            members: BTreeMap::new(),
            places: places.clone(),
            lanes: BTreeMap::new(),
            entries: BTreeMap::new(),
            judgements: 0,
            cards: BTreeMap::new(),
            stock: BTreeMap::new(),
            bottles: BTreeMap::new(),
            tags: BTreeMap::new(),
            waiting: BTreeMap::new(),
            decided_later: 0,
            months: BTreeMap::new(),
            closed: BTreeSet::new(),
            knows_newest: false,
            clock: Hlc::new(Uuid::nil()),
            trail: Trail::default(),
        };
        let mut changed = vec![];
        for at in 0..5 {
            let card = Card {
                kind: if at == 0 { CardKind::Notice } else { CardKind::Job },
                place: if at == 0 { id } else { places[at % vans] },
                state: State::Booked,
                fields: BTreeMap::new(),
                losers: vec![],
                facts: BTreeSet::new(),
                deleted: false,
            };
            let card_id = self.id();
            fleet.cards.insert(card_id, card);
            changed.push(Changed::Card(card_id));
        }
        for at in 0..people {
            let member = self.id();
            let place = places[at % vans];
            fleet.members.insert(member, Member { place, scope: 1, removed_ms: None });
            let limits = Limits {
                entries: server::ENTRIES,
                bytes: 64 << 10,
                room: u32::try_from(server::ROOM).unwrap_or(1),
            };
            let lane = self.id();
            self.devices.push(Device {
                phone: Phone::new(member, lane, limits),
                who: Asker { fleet: id, member },
                ask: 0,
                online: true,
                skew_ms: 0,
            });
            self.watch.new_device();
        }
        self.server.fleets.insert(id, fleet);
        let told = self.server.commit(id, changed, None);
        self.watch.committed(id, &told);
    }

    /// An id nobody had before.
    pub fn id(&mut self) -> Uuid {
        self.ids += 1;
        Uuid::from_u128((0x0d0d << 112) | self.ids)
    }

    fn now(&self, device: usize) -> Now {
        Now { wall_ms: self.now_ms + self.devices[device].skew_ms, mono_ms: self.now_ms }
    }

    /// One step. What it shows to be wrong is in [`World::watch`].
    pub fn step(&mut self, step: Step) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(u64::from(step.salt));
        self.now_ms += rng.random_range(0..1_500);
        let device = rng.random_range(0..self.devices.len());
        match step.act {
            Act::Write => self.write(device, &mut rng),
            Act::Wake => self.wake(device),
            Act::Deliver => {
                if let Some(packet) = self.pick(&mut rng) {
                    self.deliver(packet, &mut rng);
                }
            }
            Act::Commit => {
                if !self.open.is_empty() {
                    let open = self.open.swap_remove(rng.random_range(0..self.open.len()));
                    self.commit(open);
                }
            }
            Act::Settle => {
                self.devices[device].phone.settle_one();
                self.look(device);
            }
            Act::Lose => drop(self.pick(&mut rng)),
            Act::Double => {
                let asked = self.network.iter().filter(|p| matches!(p.message, Message::ToServer(_)));
                let asked: Vec<&Packet> = asked.collect();
                if let Some(packet) = asked.choose(&mut rng).map(|packet| (*packet).clone()) {
                    self.network.push(packet);
                }
            }
            Act::TimeOut => self.hear(device, Reply::Nothing, &mut rng),
            Act::Crash => self.crash(device),
            Act::Office => self.office(&mut rng, step.salt),
            Act::Restart => self.open.clear(),
            Act::BackUp => self.server.back_up(),
            Act::Restore => self.restore(&mut rng),
            Act::Clock => self.jump(device, &mut rng),
            Act::Network => self.devices[device].online = !self.devices[device].online,
            Act::Pause => {
                let longest = *[HOUR_MS, DAY_MS, 20 * DAY_MS].choose(&mut rng).expect("pauses");
                self.now_ms += rng.random_range(0..longest);
            }
            Act::Sweep => {
                let fleets: Vec<Uuid> = self.server.fleets.keys().copied().collect();
                let share = rng.random_range(0.5..=1.0);
                self.server.sweep(*fleets.choose(&mut rng).expect("fleets"), share);
            }
            Act::Clone => self.copy(device),
            Act::Quiet => self.quiet(),
        }
    }

    fn pick(&mut self, rng: &mut Xoshiro256PlusPlus) -> Option<Packet> {
        if self.network.is_empty() {
            return None;
        }
        let at = rng.random_range(0..self.network.len());
        Some(self.network.swap_remove(at))
    }

    fn write(&mut self, device: usize, rng: &mut Xoshiro256PlusPlus) {
        let (id, container) = (self.id(), self.id());
        let now = self.now(device);
        let at = &self.devices[device];
        let fleet = &self.server.fleets[&at.who.fleet];
        let Some(intent) = intents::any(&at.phone.store, fleet, &self.watch, container, rng) else { return };
        let phone = &mut self.devices[device].phone;
        phone.write(now, id, intent.kind, &intent.body, intent.needs);
        // Now and then it dies with the intent still in mind: then it was never written.
        if rng.random_bool(0.02) {
            self.crash(device);
            return;
        }
        phone.settle();
        self.watch.written(device, self.devices[device].who, id, intent.opens);
        self.look(device);
    }

    fn wake(&mut self, device: usize) {
        let now = self.now(device);
        let at = &mut self.devices[device];
        let Some(request) = at.phone.wake(now) else { return };
        at.ask += 1;
        let packet = Packet { device, ask: at.ask, message: Message::ToServer(request) };
        self.network.push(packet);
    }

    fn deliver(&mut self, packet: Packet, rng: &mut Xoshiro256PlusPlus) {
        let Packet { device, ask, message } = packet;
        if !self.devices[device].online {
            return;
        }
        match message {
            Message::ToServer(request) => self.ask(device, ask, request, rng),
            Message::ToPhone(reply) => {
                if self.devices[device].ask == ask {
                    self.hear(device, reply, rng);
                }
            }
        }
    }

    fn ask(&mut self, device: usize, ask: u64, request: Request, rng: &mut Xoshiro256PlusPlus) {
        let who = self.devices[device].who;
        if let Some(reply) = self.server.answer_reading(who, &request, self.now_ms) {
            self.watch.read(who, &self.server, &reply);
            self.answer(device, ask, reply);
            return;
        }
        let busy = |open: &Open| match (&open.work, &request) {
            (Work::Asked { request: Request::Handover(other), .. }, Request::Handover(this)) => {
                other.lane_id == this.lane_id
            }
            _ => false,
        };
        if self.open.iter().any(busy) {
            self.answer(device, ask, server::problem(409, "lane_busy"));
            return;
        }
        let overloaded_after = if rng.random_bool(0.03) { rng.random_range(0..5) } else { usize::MAX };
        let work = Work::Asked { device, ask, request, overloaded_after };
        self.begin(who.fleet, work);
    }

    fn begin(&mut self, fleet: Uuid, work: Work) {
        let first = self.server.begin(fleet);
        self.open.push(Open { fleet, work, first, now_ms: self.now_ms });
    }

    fn commit(&mut self, open: Open) {
        let Open { fleet, work, first, now_ms } = open;
        let mut changed = vec![];
        let answer = match work {
            Work::Asked { device, ask, request: Request::Enrol { lane_id }, .. } => {
                Some((device, ask, self.server.enrol(self.devices[device].who, lane_id)))
            }
            Work::Asked { device, ask, request: Request::Handover(sent), overloaded_after } => {
                let who = self.devices[device].who;
                let reply = self.server.hand_over(who, &sent, overloaded_after, now_ms, &mut changed);
                Some((device, ask, reply))
            }
            Work::Asked { .. } => None,
            Work::Office { deed, salt } => {
                let mut rng = Xoshiro256PlusPlus::seed_from_u64(u64::from(salt) ^ 0x0ff1ce);
                let fresh = self.id();
                let fault = self.server.fault;
                if let Some(fleet) = self.server.fleets.get_mut(&fleet) {
                    changed = fleet.office(deed, &mut rng, fresh, now_ms, fault);
                    self.watch.office(fleet);
                }
                None
            }
        };
        let told: Committed = self.server.commit(fleet, changed, first);
        self.watch.committed(fleet, &told);
        if let Some((device, ask, reply)) = answer {
            // As it is said: of two phones with one entry, the later may hear the earlier word.
            if let Reply::Handover(reply) = &reply {
                self.watch.said(&reply.verdicts);
            }
            self.answer(device, ask, reply);
        }
    }

    fn answer(&mut self, device: usize, ask: u64, reply: Reply) {
        let message = Message::ToPhone(reply);
        self.network.push(Packet { device, ask, message });
    }

    fn hear(&mut self, device: usize, reply: Reply, rng: &mut Xoshiro256PlusPlus) {
        let now = self.now(device);
        let phone = &mut self.devices[device].phone;
        phone.hear(now, reply, rng);
        // It may die between any two durable steps, or take its time over them.
        let whole = rng.random_bool(0.8);
        let steps = if whole { usize::MAX } else { rng.random_range(0..=phone.unsettled()) };
        for _ in 0..steps.min(phone.unsettled()) {
            self.devices[device].phone.settle_one();
            self.look(device);
        }
        if !whole && rng.random_bool(0.3) {
            self.crash(device);
        }
    }

    fn look(&mut self, device: usize) {
        self.watch.look(device, &self.devices[device].phone);
    }

    fn crash(&mut self, device: usize) {
        let at = &mut self.devices[device];
        at.phone.crash();
        // Whatever it waited for is told to nobody.
        at.ask += 1;
        self.watch.crashes += 1;
    }

    fn office(&mut self, rng: &mut Xoshiro256PlusPlus, salt: u32) {
        const DEEDS: [(Deed, u32); 11] = [
            (Deed::Edit, 30),
            (Deed::MoveJob, 14),
            (Deed::MoveBottle, 8),
            (Deed::Create, 12),
            (Deed::Delete, 8),
            (Deed::Settle, 4),
            (Deed::MoveMember, 10),
            (Deed::Remove, 1),
            (Deed::Decide, 12),
            (Deed::CloseMonth, 2),
            (Deed::Learn, 1),
        ];
        let (deed, _) = *DEEDS.choose_weighted(rng, |(_, share)| *share).expect("deeds");
        let fleets: Vec<Uuid> = self.server.fleets.keys().copied().collect();
        let fleet = *fleets.choose(rng).expect("fleets");
        self.begin(fleet, Work::Office { deed, salt });
    }

    fn restore(&mut self, rng: &mut Xoshiro256PlusPlus) {
        if !self.server.has_backup() {
            return;
        }
        self.open.clear();
        let seen = rng.random_bool(0.6);
        self.server.restore(seen);
        self.watch.silent = !seen;
        self.watch.restored(&self.server);
    }

    fn jump(&mut self, device: usize, rng: &mut Xoshiro256PlusPlus) {
        let jumps = [0, -3 * DAY_MS, 3 * DAY_MS, 20 * 365 * DAY_MS, -HOUR_MS, 40_000, -5_000];
        self.devices[device].skew_ms = *jumps.choose(rng).expect("jumps");
    }

    fn copy(&mut self, device: usize) {
        if self.devices.len() < PHONES {
            let at = &self.devices[device];
            let phone = at.phone.switched_on_again();
            self.devices.push(Device { phone, ..at.clone() });
            self.watch.copied(device);
        }
    }

    /// The network heals; everybody hands over and reads until there is nothing left; all is checked.
    pub fn quiet(&mut self) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(self.now_ms.unsigned_abs());
        if std::mem::take(&mut self.watch.silent) {
            // What the handbook tells an operator to do after putting files back.
            self.server.rotate_all();
        }
        for device in 0..self.devices.len() {
            self.devices[device].online = true;
            self.devices[device].phone.app_is_updated();
        }
        while !self.open.is_empty() || !self.network.is_empty() {
            self.finish(&mut rng);
        }
        for device in 0..self.devices.len() {
            let at = &mut self.devices[device];
            at.phone.settle();
            if at.phone.is_waiting() {
                self.hear(device, Reply::Nothing, &mut rng);
            }
            self.devices[device].phone.settle();
            self.look(device);
        }
        self.drain(&mut rng);
        self.watch.check(&self.server, &self.devices);
    }

    fn finish(&mut self, rng: &mut Xoshiro256PlusPlus) {
        while let Some(packet) = self.pick(rng) {
            self.deliver(packet, rng);
        }
        if !self.open.is_empty() {
            let open = self.open.swap_remove(rng.random_range(0..self.open.len()));
            self.commit(open);
        }
    }

    /// Everybody in turn, one exchange a round.
    fn drain(&mut self, rng: &mut Xoshiro256PlusPlus) {
        const ROUNDS: usize = 400;
        let queues: Vec<usize> = self.devices.iter().map(|at| at.phone.store.kept.len()).collect();
        let mut handed = vec![0_usize; self.devices.len()];
        let mut published = vec![0_u8; self.devices.len()];
        for _ in 0..ROUNDS {
            let mut idle = true;
            for device in 0..self.devices.len() {
                self.now_ms += 100;
                let now = self.now(device);
                let at = &mut self.devices[device];
                at.phone.network_is_back();
                // Twice read to the end after the last handover: whoever handed over later is seen too.
                if published[device] >= 2 && at.phone.store.owed() == 0 {
                    continue;
                }
                let Some(request) = at.phone.wake(now) else { continue };
                idle = false;
                at.ask += 1;
                let empty = matches!(&request, Request::Handover(sent) if sent.entries.is_empty());
                let reads = matches!(request, Request::Trail { .. } | Request::FreshCopy { .. });
                let hands_over = !empty && !reads;
                handed[device] += usize::from(hands_over);
                let (ask, edition) = (at.ask, at.phone.store.edition);
                self.ask(device, ask, request, rng);
                while !self.open.is_empty() || !self.network.is_empty() {
                    self.finish(rng);
                }
                self.devices[device].phone.settle();
                self.look(device);
                // A phone that may not read has nothing to show.
                let shown = empty || self.devices[device].phone.store.edition != edition;
                if hands_over {
                    published.fill(0);
                } else if shown {
                    published[device] = published[device].saturating_add(1);
                }
            }
            if idle {
                break;
            }
        }
        for (device, handed) in handed.into_iter().enumerate() {
            let batches = queues[device].div_ceil(server::ENTRIES);
            let owed = self.devices[device].phone.store.owed();
            self.watch.drained(device, owed, handed, batches);
        }
    }
}
