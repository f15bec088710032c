//! The show: `POST /api/show` begins and ends it, `/api/show/socket` is where everybody follows and one drives.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::extract::rejection::JsonRejection;
use axum::http::StatusCode;
use axum::response::Response;

use super::about::rounded_s;
use super::actor::{Asker, Member};
use super::flights;
use super::problem::{Refusal, wrong_body};
use super::socket::{Gone, Heard, Line, Opening};
use crate::hub;
use crate::messages::{Ask, Message, ShowNow, ShowWanted};
use crate::playback::Playback;
use crate::shared::Shared;
use crate::show::{About, Order, Shown};
use crate::store::remarks;
use crate::travel;

/// `POST /api/show`
pub(super) async fn begin(
    State(shared): State<Arc<Shared>>,
    _member: Member,
    wanted: Result<Json<ShowWanted>, JsonRejection>,
) -> Result<StatusCode, Refusal> {
    let Json(wanted) = wanted.map_err(|error| wrong_body(&error, "{\"flight\": 3}"))?;
    let order = match wanted.flight {
        None => Order::End,
        Some(number) => {
            // One from elsewhere is in a store of its own.
            let (of, own_number) = match travel::visitor_of(number) {
                Some((visitor, inside)) => (shared.visitors.of(visitor), inside),
                None => (Some(Arc::clone(&shared)), number),
            };
            let of = of.ok_or_else(|| Refusal::no_flight(&number.to_string()))?;
            let flight = flights::find(&of, &own_number.to_string()).await?;
            let held = remarks::read(&of.inputs_readers).await?.of(&flight);
            let name = remarks::label(&flight, &held);
            let playback =
                Playback::open(of.readers.clone(), &of.inputs_readers, of.epoch_ns, flight).await?;
            Order::Begin(Box::new(Shown { playback, number, name }))
        }
    };
    shared.show.tell(order).await;
    Ok(StatusCode::NO_CONTENT)
}

/// Opens the socket. Whether its page may drive is settled here: who joins the crew later opens another one.
pub(super) async fn open(State(shared): State<Arc<Shared>>, asker: Asker, opening: Opening) -> Response {
    opening.open(move |line| follow(line, shared, asker))
}

async fn follow(mut line: Line, shared: Arc<Shared>, asker: Asker) {
    let mut ending = shared.ending.clone();
    let number = shared.show.socket();
    let ended = tokio::select! {
        result = talk(&mut line, &shared, &asker, number) => result,
        _ = ending.wait_for(|ending| *ending) => Ok(()),
    };
    shared.show.gone(number);
    if ended.is_ok() {
        line.goodbye().await;
    }
}

async fn talk(line: &mut Line, shared: &Shared, asker: &Asker, number: u64) -> Result<(), Gone> {
    let mut newest = shared.show.follow();
    newest.about.mark_changed();
    for channel in [&mut newest.now, &mut newest.picture, &mut newest.story] {
        channel.mark_changed();
    }
    loop {
        let text = tokio::select! {
            biased;
            Ok(()) = newest.about.changed() => {
                let about = newest.about.borrow_and_update().clone();
                hub::json_text(&Message::Show(told(shared, &about, asker, number))).into()
            }
            Ok(()) = newest.now.changed() => newest.now.borrow_and_update().clone(),
            Ok(()) = newest.story.changed() => newest.story.borrow_and_update().clone(),
            Ok(()) = newest.picture.changed() => newest.picture.borrow_and_update().clone(),
            heard = line.next(shared) => {
                match heard? {
                    Heard::Answer(frame) => line.put(frame).await?,
                    Heard::Nothing => {}
                    Heard::Ask(ask) => obey(shared, asker, number, ask).await,
                }
                continue;
            }
        };
        // Empty: there is no show, or nothing of it yet.
        if !text.is_empty() {
            line.send(&text).await?;
        }
    }
}

async fn obey(shared: &Shared, asker: &Asker, number: u64, ask: Ask) {
    let order = match ask {
        // What a viewer asks for is passed over: their page has no such button.
        _ if !asker.may_act() => return,
        Ask::Drive { wheel: true } => Order::Take(number, asker.who.clone().unwrap_or_default()),
        Ask::Drive { wheel: false } => Order::LetGo(number),
        ask => Order::Ask(number, ask),
    };
    shared.show.tell(order).await;
}

fn told(shared: &Shared, about: &About, asker: &Asker, number: u64) -> ShowNow {
    let (from_ns, to_ns) = about.span_ns;
    ShowNow {
        flight: about.flight.as_ref().map(|(number, _)| *number),
        name: about.flight.as_ref().map(|(_, name)| name.clone()).unwrap_or_default(),
        from_s: rounded_s(from_ns),
        to_s: rounded_s(to_ns),
        driver: about.driver.as_ref().map(|(_, who)| who.clone()),
        you_drive: about.driver.as_ref().is_some_and(|(driver, _)| *driver == number),
        can_drive: asker.may_act(),
        followers: shared.show.followers(),
        in_the_air: about.in_the_air,
    }
}
