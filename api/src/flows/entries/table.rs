//! A table held in memory while a batch is worked on: what stands, what was touched, and the way
//! back when one entry of the batch turns out not to fit.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;

/// Values by key; a missing key has no value yet.
#[derive(Debug, Clone)]
pub(super) struct Table<K, V> {
    now: HashMap<K, V>,
    touched: HashSet<K>,
    /// What stood before the entry at hand, newest last.
    before: Vec<(K, Option<V>)>,
}

impl<K, V> Default for Table<K, V> {
    fn default() -> Self {
        Self { now: HashMap::new(), touched: HashSet::new(), before: Vec::new() }
    }
}

impl<K: Copy + Eq + Hash + Ord, V: Clone> Table<K, V> {
    /// A table as it was read.
    pub(super) fn of(now: HashMap<K, V>) -> Self {
        Self { now, touched: HashSet::new(), before: Vec::new() }
    }

    pub(super) fn get(&self, key: &K) -> Option<&V> {
        self.now.get(key)
    }

    pub(super) fn set(&mut self, key: K, value: V) {
        let before = self.now.insert(key, value);
        self.before.push((key, before));
        self.touched.insert(key);
    }

    pub(super) fn remove(&mut self, key: K) {
        let before = self.now.remove(&key);
        self.before.push((key, before));
        self.touched.insert(key);
    }

    /// The entry at hand is booked: there is no way back from here.
    pub(super) fn keep(&mut self) {
        self.before.clear();
    }

    /// The entry at hand does not fit: everything as before it.
    pub(super) fn undo(&mut self) {
        while let Some((key, value)) = self.before.pop() {
            match value {
                Some(value) => self.now.insert(key, value),
                None => self.now.remove(&key),
            };
        }
    }

    /// What was touched, in key order, as it stands now.
    pub(super) fn changes(&self) -> Vec<(K, Option<V>)> {
        let mut keys: Vec<K> = self.touched.iter().copied().collect();
        keys.sort_unstable();
        keys.into_iter().map(|key| (key, self.now.get(&key).cloned())).collect()
    }

    /// Everything there is, in key order.
    pub(super) fn all(&self) -> Vec<(K, V)> {
        let mut all: Vec<(K, V)> = self.now.iter().map(|(key, value)| (*key, value.clone())).collect();
        all.sort_unstable_by_key(|(key, _)| *key);
        all
    }
}
