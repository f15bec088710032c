//! Who asks: looked at before the body of a request is read, so that a viewer's body is not even taken in.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode};
use axum_extra::extract::cookie::CookieJar;

use super::listen::Ends;
use super::problem::Refusal;
use crate::shared::Shared;

/// The cookie with the token of a session.
pub(super) const COOKIE: &str = "loftwatch_crew";

/// Whoever asks.
#[derive(Clone, Debug, Default)]
pub(super) struct Asker {
    /// Where the request comes from, as far as is known.
    pub(super) address: Option<IpAddr>,
    /// It comes from the station's own machine, and no proxy speaks for another one.
    pub(super) own_machine: bool,
    /// The name under which this browser has joined.
    pub(super) who: Option<String>,
    /// The token that it sent, good or not.
    pub(super) token: Option<String>,
}

impl Asker {
    pub(super) fn of(shared: &Shared, ends: Option<&Ends>, headers: &HeaderMap) -> Self {
        let relayed =
            ["forwarded", "x-forwarded-for", "x-real-ip"].iter().any(|name| headers.contains_key(*name));
        let token = CookieJar::from_headers(headers).get(COOKIE).map(|cookie| cookie.value().to_owned());
        Self {
            address: ends.map(|ends| ends.peer.ip()),
            own_machine: ends.is_some_and(Ends::own_machine) && !relayed,
            who: token.as_deref().and_then(|token| shared.crew.who(token, shared.clock.now_ns())),
            token,
        }
    }

    /// Whether this browser may act.
    pub(super) fn may_act(&self) -> bool {
        self.own_machine || self.who.is_some()
    }
}

impl FromRequestParts<Arc<Shared>> for Asker {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, shared: &Arc<Shared>) -> Result<Self, Self::Rejection> {
        Ok(Self::of(shared, parts.extensions.get(), &parts.headers))
    }
}

/// One of the crew; everyone else is refused.
#[derive(Clone, Debug)]
pub(super) struct Member {
    /// The name given when joining; on the station's own machine one need not have joined.
    who: Option<String>,
}

impl Member {
    /// Who acts: the name given when joining. A request may say who it is only from the station's own machine, where no
    /// one has joined.
    pub(super) fn who(&self, told: &str) -> String {
        self.who.clone().unwrap_or_else(|| name(told))
    }

    /// Who stands at the station and has not joined.
    #[cfg(test)]
    pub(super) fn here() -> Self {
        Self { who: None }
    }
}

impl FromRequestParts<Arc<Shared>> for Member {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, shared: &Arc<Shared>) -> Result<Self, Refusal> {
        let asker = Asker::of(shared, parts.extensions.get(), &parts.headers);
        if asker.may_act() {
            return Ok(Self { who: asker.who });
        }
        let had = asker.token.is_some();
        Err(Refusal::new(
            StatusCode::FORBIDDEN,
            if had {
                "This browser is no longer crew: only crew may act."
            } else {
                "Only crew may act; from here you can look."
            },
            "Nothing was changed.",
            "Join as crew with the code that is shown at the station.",
        ))
    }
}

/// The station's own machine; everyone else is refused, crew too.
#[derive(Clone, Copy, Debug)]
pub(super) struct OwnMachine;

impl FromRequestParts<Arc<Shared>> for OwnMachine {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, shared: &Arc<Shared>) -> Result<Self, Refusal> {
        if Asker::of(shared, parts.extensions.get(), &parts.headers).own_machine {
            return Ok(Self);
        }
        Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "The crew's code is seen and changed on the station's own machine only.",
            "Nothing was changed.",
            "Open this page there, at 127.0.0.1.",
        ))
    }
}

/// Longest name of a crew member, characters.
const LONGEST_WHO: usize = 60;

/// A name fit to be shown.
pub(super) fn name(told: &str) -> String {
    super::act::plain(told, LONGEST_WHO)
}
