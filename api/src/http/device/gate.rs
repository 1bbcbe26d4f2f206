//! The queue in front of handovers: so many at once, some waiting, the rest told at once to come back.
//!
//! One per worker, because the connections behind it are. Fleets take turns, so that one with a hundred
//! phones at the door does not keep another's single phone waiting behind all of them.

use crate::error::Error;
use crate::ids::FleetId;
use crate::store::CONNECTIONS_PER_WORKER;
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest, web};
use std::collections::VecDeque;
use std::future::{Ready, ready};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::oneshot;

/// Under way at once: one connection stays free for those who read.
const AT_ONCE: usize = CONNECTIONS_PER_WORKER - 1;
/// Waiting in all. A handover takes about 0.2 s, so the last of them waits about 2 s.
const WAITING: usize = 24;
/// Waiting of one fleet.
const WAITING_PER_FLEET: usize = 16;
/// Nobody waits longer.
const PATIENCE: Duration = Duration::from_secs(5);

/// The queue.
#[derive(Debug, Clone)]
pub struct Gate(Arc<Mutex<Queue>>);

#[derive(Debug)]
struct Queue {
    free: usize,
    /// Fleets with somebody waiting, the next one's turn first.
    turns: VecDeque<(FleetId, VecDeque<oneshot::Sender<Place>>)>,
}

/// A place among those under way; given on when dropped.
#[derive(Debug)]
pub(super) struct Place(Option<Gate>);

impl Default for Gate {
    fn default() -> Self {
        Self(Arc::new(Mutex::new(Queue { free: AT_ONCE, turns: VecDeque::new() })))
    }
}

impl Gate {
    /// Waits for a place.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when too many wait already, or it takes too long.
    pub(super) async fn enter(&self, fleet: FleetId) -> Result<Place, Error> {
        let called = {
            let mut queue = self.queue();
            if queue.free > 0 {
                queue.free -= 1;
                return Ok(Place(Some(self.clone())));
            }
            queue.forget_the_gone();
            let of_fleet = queue.turns.iter().find(|(id, _)| *id == fleet).map_or(0, |(_, line)| line.len());
            if queue.waiting() >= WAITING || of_fleet >= WAITING_PER_FLEET {
                return Err(crowded());
            }
            queue.line_up(fleet)
        };
        match tokio::time::timeout(PATIENCE, called).await {
            Ok(Ok(place)) => Ok(place),
            Ok(Err(_)) | Err(_) => Err(crowded()),
        }
    }

    fn is_full(&self) -> bool {
        let mut queue = self.queue();
        queue.forget_the_gone();
        queue.waiting() >= WAITING
    }

    fn give_on(self) {
        loop {
            let next = {
                let mut queue = self.queue();
                let Some(next) = queue.next() else {
                    queue.free += 1;
                    return;
                };
                next
            };
            // Whoever stopped waiting hands it back; the place then goes to the one behind.
            match next.send(Place(Some(self.clone()))) {
                Ok(()) => return,
                Err(mut unwanted) => unwanted.0 = None,
            }
        }
    }

    fn queue(&self) -> MutexGuard<'_, Queue> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Queue {
    fn waiting(&self) -> usize {
        self.turns.iter().map(|(_, line)| line.len()).sum()
    }

    fn forget_the_gone(&mut self) {
        for (_, line) in &mut self.turns {
            line.retain(|waiting| !waiting.is_closed());
        }
        self.turns.retain(|(_, line)| !line.is_empty());
    }

    fn line_up(&mut self, fleet: FleetId) -> oneshot::Receiver<Place> {
        let (call, called) = oneshot::channel();
        match self.turns.iter_mut().find(|(id, _)| *id == fleet) {
            Some((_, line)) => line.push_back(call),
            None => self.turns.push_back((fleet, VecDeque::from([call]))),
        }
        called
    }

    /// Of the fleet whose turn it is, the one who waited longest; the fleet's next turn is the last.
    fn next(&mut self) -> Option<oneshot::Sender<Place>> {
        let (fleet, mut line) = self.turns.pop_front()?;
        let next = line.pop_front();
        if !line.is_empty() {
            self.turns.push_back((fleet, line));
        }
        next
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if let Some(gate) = self.0.take() {
            gate.give_on();
        }
    }
}

fn crowded() -> Error {
    // Not all back in the same second.
    Error::Unavailable { why: "too many handovers at once".into(), retry_after_s: rand::random_range(1..=5) }
}

/// The queue, which has room: asked before anything else of a request is looked at, so that being turned away
/// costs next to nothing.
#[derive(Debug)]
pub(super) struct Uncrowded(pub(super) web::Data<Gate>);

impl FromRequest for Uncrowded {
    type Error = Error;
    type Future = Ready<Result<Self, Error>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let gate = request.app_data::<web::Data<Gate>>().ok_or_else(|| Error::internal("no gate is set up"));
        ready(gate.and_then(|gate| if gate.is_full() { Err(crowded()) } else { Ok(Self(gate.clone())) }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::fresh;
    use futures_util::FutureExt;
    use std::pin::Pin;

    type Waiting<'a> = Pin<Box<dyn Future<Output = Result<Place, Error>> + 'a>>;

    fn fleet() -> FleetId {
        FleetId(fresh())
    }

    fn full(gate: &Gate, fleet: FleetId) -> Vec<Place> {
        (0..AT_ONCE).map(|_| gate.enter(fleet).now_or_never().unwrap().unwrap()).collect()
    }

    fn wait(gate: &Gate, fleet: FleetId) -> Waiting<'_> {
        let mut waiting: Waiting<'_> = Box::pin(gate.enter(fleet));
        assert!(waiting.as_mut().now_or_never().is_none(), "had to wait");
        waiting
    }

    #[tokio::test]
    async fn fleets_take_turns_and_within_one_the_first_comes_first() {
        let (gate, large, small) = (Gate::default(), fleet(), fleet());
        let mut inside = full(&gate, large);
        let mut first = wait(&gate, large);
        let mut second = wait(&gate, large);
        let mut other = wait(&gate, small);
        drop(inside.pop());
        inside.push(first.as_mut().now_or_never().expect("the first").unwrap());
        drop(inside.pop());
        assert!(second.as_mut().now_or_never().is_none());
        inside.push(other.as_mut().now_or_never().expect("the other fleet's turn").unwrap());
        drop(inside.pop());
        inside.push(second.as_mut().now_or_never().expect("the second").unwrap());
        drop(inside);
        assert_eq!(gate.queue().free, AT_ONCE);
    }

    #[tokio::test]
    async fn beyond_the_bound_nobody_waits() {
        let (gate, large) = (Gate::default(), fleet());
        let inside = full(&gate, large);
        let of_large: Vec<_> = (0..WAITING_PER_FLEET).map(|_| wait(&gate, large)).collect();
        let refused = gate.enter(large).now_or_never().expect("an answer at once");
        assert!(matches!(refused, Err(Error::Unavailable { retry_after_s: 1..=5, .. })));
        assert!(!gate.is_full(), "others may still wait");
        let others: Vec<_> = (WAITING_PER_FLEET..WAITING).map(|_| wait(&gate, fleet())).collect();
        assert!(gate.is_full());
        assert!(gate.enter(fleet()).now_or_never().expect("an answer at once").is_err());
        drop((of_large, others, inside));
        assert!(!gate.is_full());
        assert_eq!(gate.queue().free, AT_ONCE, "every place came back");
    }

    #[tokio::test]
    async fn a_place_offered_to_one_who_left_goes_to_the_next() {
        let (gate, fleet) = (Gate::default(), fleet());
        let mut inside = full(&gate, fleet);
        let gone = wait(&gate, fleet);
        let mut next = wait(&gate, fleet);
        drop(gone);
        drop(inside.pop());
        assert!(next.as_mut().now_or_never().expect("a place").is_ok());
    }

    #[tokio::test]
    async fn a_place_called_and_never_taken_is_not_lost() {
        let (gate, fleet) = (Gate::default(), fleet());
        let mut inside = full(&gate, fleet);
        let called = wait(&gate, fleet);
        drop(inside.pop());
        drop(called);
        drop(inside);
        assert_eq!(gate.queue().free, AT_ONCE);
    }
}
