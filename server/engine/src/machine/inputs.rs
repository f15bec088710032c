//! What each kind of input does.

use super::Engine;
use crate::links::{Cut, LinkStream};
use crate::one_flight::OneFlight;
use crate::output::Accepted;
use crate::setup::Source;
use crate::{Input, Output, RelayNews, Said, Setup, What};

impl Engine {
    pub(super) fn apply(&mut self, input: &Input, out: &mut Vec<Output>) {
        let utc_offset_ns = input.utc_ns.saturating_sub(input.t_ns);
        match &input.what {
            What::Bytes { link, bytes } => self.take_bytes(link, bytes, None, utc_offset_ns, out),
            What::LinkState { link, up, .. } => {
                // A broken way to a remote receiver loses nothing: its half frame goes on when the way is back.
                if !up && !self.is_relayed(link) {
                    self.reset_link(link, None, utc_offset_ns, out);
                }
            }
            What::Started => {
                for link in self.links.keys().cloned().collect::<Vec<_>>() {
                    if !self.is_relayed(&link) {
                        self.reset_link(&link, None, utc_offset_ns, out);
                    }
                }
            }
            What::Lost { link, bytes, .. } => {
                self.reset_link(link, None, utc_offset_ns, out);
                self.skip_bytes(link, *bytes);
            }
            What::Relayed { link, stamp, news } => {
                let heard_ns = Some(stamp.heard_ns.min(self.marks.t_ns));
                match news {
                    RelayNews::Bytes(bytes) => self.take_bytes(link, bytes, heard_ns, utc_offset_ns, out),
                    RelayNews::LinkState { up: true, .. } => {}
                    RelayNews::LinkState { up: false, .. } | RelayNews::Started => {
                        self.reset_link(link, heard_ns, utc_offset_ns, out);
                    }
                    RelayNews::Lost { bytes, .. } => {
                        self.reset_link(link, heard_ns, utc_offset_ns, out);
                        self.skip_bytes(link, *bytes);
                    }
                }
            }
            What::SetupChange(setup) | What::SetupByCrew { setup, .. } => self.change_setup(setup, out),
            What::Mark { label, at_ns, who } => {
                self.with_flight(out, |flight, _, pen| flight.mark(label, *at_ns, who, pen));
            }
            What::CorrectMark { flight: number, id, label, at_ns, .. } if *number == self.flights => {
                self.with_flight(out, |flight, _, pen| flight.correct_mark(*id, label, *at_ns, pen));
            }
            What::WithdrawMark { flight: number, id, .. } if *number == self.flights => {
                self.with_flight(out, |flight, _, pen| flight.withdraw_mark(*id, pen));
            }
            // Marks of a flight that is no longer shown are not remembered; remarks change no figure; a mended setup has been
            // put in its place.
            What::CorrectMark { .. }
            | What::WithdrawMark { .. }
            | What::Remark { .. }
            | What::MendSetup { .. } => {}
            What::NameFlight { name, .. } => self.with_flight(out, |flight, _, pen| flight.name(name, pen)),
            What::EndFlight { .. } => self.end_flight(out),
            What::Accept(told) => self.accept(told, out),
        }
    }

    /// Whether the link is the way to a remote receiver.
    fn is_relayed(&self, name: &str) -> bool {
        self.setup.links.iter().any(|l| l.name == name && matches!(l.source, Source::Relay { .. }))
    }

    /// `heard_ns`: when a remote receiver heard them; else they are heard now.
    fn take_bytes(
        &mut self,
        name: &str,
        bytes: &[u8],
        heard_ns: Option<i64>,
        utc_offset_ns: i64,
        out: &mut Vec<Output>,
    ) {
        self.bytes_ns = Some(self.marks.t_ns);
        let Some(link) = self.setup.links.iter().find(|l| l.name == name) else {
            self.skip_bytes(name, bytes.len() as u64);
            return;
        };
        let Some(stream) = self.links.get_mut(name) else { return };
        let mut cuts = Vec::new();
        stream.push(&self.setup, link, bytes, heard_ns.unwrap_or(self.marks.t_ns), &mut cuts);
        self.take_cuts(cuts, name, heard_ns, utc_offset_ns, out);
        if self.radio_ns.is_none() {
            self.radio_ns = Some(self.next_on_grid(super::RADIO_NS));
        }
    }

    fn reset_link(&mut self, name: &str, heard_ns: Option<i64>, utc_offset_ns: i64, out: &mut Vec<Output>) {
        let mut cuts: Vec<Cut> = Vec::new();
        let link = self.setup.links.iter().find(|l| l.name == name);
        if let (Some(link), Some(stream)) = (link, self.links.get_mut(name)) {
            stream.reset(&self.setup, link, &mut cuts);
        }
        self.take_cuts(cuts, name, heard_ns, utc_offset_ns, out);
    }

    /// Bytes that no frame will be cut from: those of a link that the setup does not have, or that were lost.
    fn skip_bytes(&mut self, name: &str, bytes: u64) {
        match self.links.get_mut(name) {
            Some(stream) => stream.skip(bytes),
            None => {
                self.links.insert(name.to_owned(), LinkStream::unknown(bytes));
            }
        }
    }

    /// It stays in the record of the flight that is open. In flight, and after it, there is nothing left to accept.
    fn accept(&mut self, told: &Accepted, out: &mut Vec<Output>) {
        if !self.flight.as_ref().is_some_and(|flight| !flight.has_ended() && flight.waits()) {
            return;
        }
        self.readiness.accept(told);
        self.pen(out).say(Said::Accepted(told.clone()));
        self.tell_readiness(out);
    }

    fn end_flight(&mut self, out: &mut Vec<Output>) {
        self.with_flight(out, |flight, _, pen| flight.end(pen));
        self.after_flight(out);
        // The crew is done with it: whatever is heard next is another flight.
        self.next = None;
        self.plan_beat();
    }

    /// Layouts, links, areas and cues hold at once. Site, weather, vehicle, motors and bodies are locked from
    /// liftoff until the flight is over.
    fn change_setup(&mut self, setup: &Setup, out: &mut Vec<Output>) {
        // Other bodies, or fields of other meaning: what boards said before is no longer theirs.
        let names = |s: &Setup| s.plan.bodies.iter().map(|b| b.name.clone()).collect::<Vec<_>>();
        if self.setup.layouts != setup.layouts || names(&self.setup) != names(setup) {
            self.readiness.forget();
        }
        let aloft = self.flight.as_ref().is_some_and(|f| !f.has_ended() && !f.waits());
        if aloft {
            self.setup = merge(&self.setup, setup);
            self.told = Some(Box::new(setup.clone()));
        } else {
            let replan = self.setup.plan != setup.plan;
            self.setup = setup.clone();
            self.told = None;
            if replan {
                let plan = &self.setup.plan;
                let pen = self.pen(out);
                if let Some(flight) = self.flight.as_mut().filter(|f| !f.has_ended()) {
                    flight.replan(plan, &pen);
                }
            }
        }
        self.open_links();
        self.heard.forget_layouts();
        self.plan_beat();
        self.with_flight(out, OneFlight::look);
        self.tell_readiness(out);
    }
}

/// What holds in flight when a new setup is told.
fn merge(locked: &Setup, told: &Setup) -> Setup {
    let names = |s: &Setup| s.plan.bodies.iter().map(|b| b.name.clone()).collect::<Vec<_>>();
    let same_bodies = names(locked) == names(told);
    let same_cues = locked.plan.cues.len() == told.plan.cues.len()
        && locked.plan.cues.iter().zip(&told.plan.cues).all(|(a, b)| a.name == b.name && a.body == b.body);
    let mut setup = told.clone();
    setup.plan = locked.plan.clone();
    if same_cues && same_bodies {
        setup.plan.cues.clone_from(&told.plan.cues);
    }
    if !same_bodies {
        setup.preparation.boards.clone_from(&locked.preparation.boards);
        setup.transmitters.clone_from(&locked.transmitters);
        // Layouts name bodies by index: by name they may be other ones now.
        for layout in &mut setup.layouts {
            let name = layout.body.and_then(|b| told.plan.bodies.get(b)).map(|b| &b.name);
            layout.body = name.and_then(|n| locked.plan.bodies.iter().position(|b| &b.name == n));
        }
    }
    setup.vehicle_name.clone_from(&locked.vehicle_name);
    setup.site_name.clone_from(&locked.site_name);
    setup
}
