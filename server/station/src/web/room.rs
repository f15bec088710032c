//! How many connections and sockets there may be, in all and from one address.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// From one address: a browser opens six and its sockets; a phone hotspot may hide a few people behind one.
const MOST_OF_ONE: usize = 64;
/// From the station's own machine: a reverse proxy or a load test may bring all viewers from there.
const MOST_OF_OWN_MACHINE: usize = 1024;
/// In all: about 10 KiB each while it watches (`cargo measure` prints it).
const MOST_IN_ALL: usize = 8192;

/// Counts who is in.
#[derive(Clone, Debug, Default)]
pub(super) struct Room {
    inside: Arc<Mutex<HashMap<IpAddr, usize>>>,
}

impl Room {
    /// An empty room.
    pub(super) fn new() -> Self {
        Self::default()
    }

    /// Takes one more from that address; `None` when there is no room. The place is free again when it is dropped.
    pub(super) fn enter(&self, address: IpAddr) -> Option<Place> {
        let address = address.to_canonical();
        let most = if address.is_loopback() { MOST_OF_OWN_MACHINE } else { MOST_OF_ONE };
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        if inside.values().sum::<usize>() >= MOST_IN_ALL {
            return None;
        }
        let count = inside.entry(address).or_default();
        if *count >= most {
            return None;
        }
        *count += 1;
        Some(Place { room: self.clone(), address })
    }
}

/// One taken place.
#[derive(Debug)]
pub(super) struct Place {
    room: Room,
    address: IpAddr,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut inside = self.room.inside.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = inside.get_mut(&self.address) {
            *count -= 1;
            if *count == 0 {
                inside.remove(&self.address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_cannot_take_all_places_and_gets_them_back() {
        let room = Room::new();
        let one: IpAddr = "10.0.0.1".parse().unwrap();
        let mut places: Vec<Place> = (0..MOST_OF_ONE).map(|_| room.enter(one).unwrap()).collect();
        assert!(room.enter(one).is_none());
        assert!(
            room.enter("::ffff:10.0.0.1".parse().unwrap()).is_none(),
            "the same address in the other spelling"
        );
        assert!(room.enter("10.0.0.2".parse().unwrap()).is_some());
        places.pop();
        assert!(room.enter(one).is_some());
    }

    #[test]
    fn all_addresses_together_have_a_limit() {
        let room = Room::new();
        let address = |n: usize| IpAddr::from([10, 0, (n / 256) as u8, (n % 256) as u8]);
        let places: Vec<Place> = (0..MOST_IN_ALL).map(|n| room.enter(address(n / 8)).unwrap()).collect();
        assert!(room.enter(address(9_999)).is_none());
        drop(places);
        assert!(room.enter(address(9_999)).is_some());
        assert!(room.inside.lock().unwrap().is_empty(), "nothing is remembered about who has left");
    }
}
