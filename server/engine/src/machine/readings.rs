//! From frames to readings, and from readings to the flight.

use loftwatch_radio::Instant;

use super::Engine;
use crate::heard::{Arrived, Placed};
use crate::links::Cut;
use crate::next_flight::Begins;
use crate::one_flight::OneFlight;
use crate::output::Reading;
use crate::packet::{self, Packet};
use crate::pen::{Pen, axis_s};
use crate::readiness::Heard as Told;
use crate::says::At;
use crate::setup::USUAL_DELAY_S;
use crate::{Output, Said, Setup};

impl Engine {
    /// Takes the frames that an input completed.
    pub(super) fn take_cuts(
        &mut self,
        cuts: Vec<Cut>,
        link: &str,
        heard_ns: Option<i64>,
        utc_offset_ns: i64,
        out: &mut Vec<Output>,
    ) {
        for cut in cuts {
            self.take_cut(cut, link, heard_ns, utc_offset_ns, out);
        }
    }

    fn take_cut(
        &mut self,
        mut cut: Cut,
        link: &str,
        heard_ns: Option<i64>,
        utc_offset_ns: i64,
        out: &mut Vec<Output>,
    ) {
        // Passed on late, it is no newer than what was heard elsewhere meanwhile.
        let received_ns = heard_ns.map_or(self.marks.t_ns, |heard_ns| self.marks.t_receive_ns.max(heard_ns));
        let mut read = None;
        if let Some((index, decoded)) = cut.decoded.take() {
            let layout = &self.setup.layouts[index];
            let packet = packet::read(layout, &decoded, self.setup.plan.site.geoid_m);
            match whose(&self.setup, layout.body, &packet) {
                Ok(body) => read = Some((index, decoded, packet, body)),
                Err(why) => {
                    cut.frame.wrong = Some(why);
                    cut.frame.wrong_kind = Some("unknown_transmitter".into());
                }
            }
        }
        if read.is_none()
            && let Some(stream) = self.links.get_mut(link)
        {
            let reason = cut.frame.wrong_kind.clone().unwrap_or_default();
            *stream.wrong.entry(reason).or_default() += 1;
        }
        let Some((index, decoded, packet, body)) = read else {
            let mut pen = self.pen(out);
            pen.marks.t_receive_ns = received_ns;
            pen.marks.utc_offset_ns = utc_offset_ns;
            pen.say(Said::Frame(cut.frame));
            return;
        };
        let quiet_ns = self.marks.quiet_ns();
        self.marks.t_receive_ns = received_ns;
        self.marks.utc_offset_ns = utc_offset_ns;
        // Old news that a remote receiver passes on does not end a silence of now.
        if heard_ns.is_none_or(|heard_ns| self.heard.is_news(heard_ns, self.marks.t_ns)) {
            self.hear_again(out);
        }
        self.open_flight(quiet_ns, out);
        self.pen(out).say(Said::Frame(cut.frame));

        let layout = &self.setup.layouts[index];
        let instants = layout.has_series().then(|| layout.instants(&decoded));
        let (receiver, receiver_index, delay_s) = receiver_of(&self.setup, link);
        let placed = self.heard.hear(&Arrived {
            receiver,
            receiver_index,
            body,
            layout,
            decoded: &decoded,
            packet: &packet,
            t_ns: cut.t_ns,
            delay_s,
            bytes: cut.bytes,
            newest_s: instants.as_ref().and_then(|all| all.last()).map_or(0.0, |newest| newest.offset_s),
        });
        if placed.again {
            self.readiness.hear_again(receiver, cut.t_ns);
        } else {
            self.readiness.hear(&Told {
                body,
                receiver,
                layout,
                decoded: &decoded,
                t_ns: cut.t_ns,
                onboard_s: packet.onboard_s,
                boot: placed.boot,
            });
        }
        if self.ready_ns.is_none() {
            self.ready_ns = Some(self.next_on_grid(super::READY_NS));
        }
        let mut reading = Reading {
            link: link.to_owned(),
            receiver: receiver.to_owned(),
            layout: layout.name.clone(),
            body,
            again: placed.again,
            sequence: packet.sequence,
            instant: 0,
            t_measured_ns: placed.t_measured_ns,
            values: packet::shown(layout, &decoded),
            complaints: decoded.complaints.iter().map(ToString::to_string).collect(),
        };
        let Some(instants) = instants else {
            self.pen(out).say(Said::Reading(reading));
            if !placed.again {
                self.take_packet(&packet, body, &placed, out);
            }
            return;
        };
        // A reading for each instant. What the packet says once is in its own.
        for (Instant { offset_s, decoded }, instant) in instants.into_iter().zip(0..) {
            reading.instant = instant;
            let layout = &self.setup.layouts[index];
            let own = offset_s == 0.0;
            let packet = if own {
                packet::read(layout, &decoded, self.setup.plan.site.geoid_m)
            } else {
                packet::of_instant(layout, &decoded, self.setup.plan.site.geoid_m)
            };
            let t_measured_ns = placed.t_measured_ns.saturating_add(libm::round(offset_s * 1e9) as i64);
            reading.t_measured_ns = t_measured_ns;
            reading.values = packet::shown(layout, &decoded);
            reading.complaints = decoded.complaints.iter().map(ToString::to_string).collect();
            self.pen(out).say(Said::Reading(reading.clone()));
            if !placed.again {
                self.take_packet(&packet, body, &Placed { t_measured_ns, ..placed }, out);
            }
        }
    }

    /// Something is heard: silence is over.
    fn hear_again(&mut self, out: &mut Vec<Output>) {
        if self.silent.take().is_some() {
            self.pen(out).say(Said::Silence { since_ns: None });
            self.with_flight(out, OneFlight::look);
        }
    }

    /// A first packet, or the first after the crew ended a flight, opens one; so does one that comes half a day after a
    /// vehicle was lost in the air. To carry its state on through all that time would say nothing.
    fn open_flight(&mut self, quiet_ns: i64, out: &mut Vec<Output>) {
        let ended = self.flight.as_ref().filter(|flight| flight.has_ended());
        let ended_by_crew = self.next.is_none() && ended.is_some();
        let long_lost = quiet_ns > super::ANOTHER_DAY_NS && ended.is_some_and(OneFlight::was_lost_aloft);
        if self.flight.is_none() || ended_by_crew || long_lost {
            self.open(Begins::OnThePad, out);
        }
    }

    fn open(&mut self, begins: Begins, out: &mut Vec<Output>) {
        self.flights += 1;
        self.next = None;
        self.flags.begin_anew();
        self.readiness.begin_anew();
        let tracker = match begins {
            Begins::OnThePad => None,
            Begins::Aloft(tracker) => Some(*tracker),
        };
        let mut pen = self.pen(out);
        self.flight = Some(OneFlight::open(self.flights, &self.setup.plan, tracker, &mut pen));
        self.plan_beat();
    }

    fn take_packet(&mut self, packet: &Packet, body: usize, placed: &Placed, out: &mut Vec<Output>) {
        let t_s = axis_s(self.epoch_ns, placed.t_measured_ns);
        let t_receive_s = axis_s(self.epoch_ns, self.marks.t_receive_ns);
        if !packet.measured.is_empty() {
            let sample = packet.measured.sample(body, t_s, placed.t_sd_s, t_receive_s, placed.boot);
            let flies = self.flight.as_ref().is_some_and(OneFlight::is_under_way);
            if let Some(kept) = &mut self.hindsight {
                kept.take(&sample, flies);
            }
            let begins = self.next.as_mut().and_then(|next| next.take(&sample, &self.setup.plan));
            if let Some(begins) = begins {
                let seen = matches!(begins, Begins::Aloft(_));
                self.open(begins, out);
                if seen {
                    // The tracker that saw the liftoff has this sample already.
                    self.with_flight(out, OneFlight::welcome);
                } else {
                    self.with_flight(out, |flight, around, pen| flight.take(&sample, around, pen));
                }
            } else {
                self.with_flight(out, |flight, around, pen| flight.take(&sample, around, pen));
            }
        }
        self.take_flags(packet, body, t_s, t_receive_s, placed.boot, out);
        let sooner = self.flight.as_ref().filter(|f| !f.has_ended()).map(|f| self.next_on_grid(f.beat_ns(0)));
        if let Some(sooner) = sooner {
            self.beat_ns = Some(self.beat_ns.map_or(sooner, |beat| beat.min(sooner)));
        }
    }

    fn take_flags(
        &mut self,
        packet: &Packet,
        body: usize,
        t_s: f64,
        t_receive_s: f64,
        boot: u32,
        out: &mut Vec<Output>,
    ) {
        let Some(flight) = self.flight.as_ref().filter(|f| !f.has_ended()) else { return };
        let at = At { body, t_s, t_receive_s, boot, on_the_pad: flight.waits() };
        let mut reports = Vec::new();
        self.flags.take(packet, at, &self.setup.plan, &mut reports);
        for report in reports {
            if let Some(kept) = &mut self.hindsight {
                kept.report(&report);
            }
            self.with_flight(out, |flight, _, pen: &mut Pen<'_>| flight.report(&report, pen));
        }
    }
}

/// Which body a packet is of: the layout's own, else by its transmitter number, else the vehicle.
fn whose(setup: &Setup, fixed: Option<usize>, packet: &Packet) -> Result<usize, String> {
    let bodies = setup.plan.bodies.len();
    if let Some(body) = fixed.filter(|b| *b < bodies) {
        return Ok(body);
    }
    let Some(number) = packet.transmitter else { return Ok(0) };
    let known: Vec<String> = setup.transmitters.iter().flatten().map(ToString::to_string).collect();
    let told = setup.transmitters.iter().take(bodies).position(|t| *t == Some(number));
    match told {
        Some(body) => Ok(body),
        // Where no number was told there is nothing to compare with.
        None if known.is_empty() => Ok(0),
        None => Err(format!("transmitter {number} is none of the setup's ({})", known.join(", "))),
    }
}

/// Name and index of the receiver that a link belongs to, and what the link takes at least, s.
fn receiver_of<'a>(setup: &'a Setup, link: &'a str) -> (&'a str, u16, f64) {
    let told = setup.links.iter().find(|l| l.name == link);
    let (name, delay_s) = told.map_or((link, USUAL_DELAY_S), |l| (&l.receiver, l.delay_s));
    let index = setup.receivers.iter().position(|r| r == name).unwrap_or(usize::from(u16::MAX));
    (name, index as u16, delay_s)
}
