//! A foot pedal on a modem control line: looks at the line and tells the bench of presses.
//!
//! The line is looked at 50 times a second. The kernel could tell of a change by itself (`TIOCMIWAIT`), but only to a
//! thread that waits in it and cannot be woken; 50 questions a second cost far less than one percent of a processor, and
//! on an adapter that answers from what it last heard they do not even reach the cable.

use std::time::Duration;

use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval};
use tokio_util::sync::CancellationToken;

use super::line::{Line, PortError};
use super::session::{Over, Session};
use super::{PortEvent, PortMessage, PortSettings};
use crate::clock::Clock;
use crate::instrument::attachment::ModemLine;
use crate::instrument::pedal::Pedal;

/// Time between two looks, in bench time: a change is seen twice within [`crate::instrument::pedal::DEBOUNCE_S`] and a look.
const LOOK: Duration = Duration::from_millis(20);

/// Serves the pedal until `stop`; `out` as in [`super::run`].
pub(in crate::instrument) async fn run(
    settings: PortSettings,
    line: ModemLine,
    clock: Clock,
    out: mpsc::Sender<PortMessage>,
    stop: CancellationToken,
) {
    let mut session = Session::new(&settings, clock, &out, &stop);
    loop {
        let reason = match open(&settings, line) {
            Ok((port, closed)) => {
                session.opened();
                match serve(&session, port, line, closed).await {
                    Ok(error) => error.to_string(),
                    Err(Over) => return,
                }
            }
            Err(error) => error.to_string(),
        };
        if let Err(Over) = session.lost(reason).await {
            return;
        }
    }
}

/// Opens the port and looks for the first time, which tells whether it has such a line at all.
fn open(settings: &PortSettings, line: ModemLine) -> Result<(Line, bool), PortError> {
    let mut port = Line::open(&settings.path, &settings.format.line)?;
    port.power_contacts(line)?;
    let closed = port.contact(line)?;
    Ok((port, closed))
}

/// Looks at the line until it is gone; why leaves.
async fn serve(session: &Session<'_>, mut port: Line, line: ModemLine, closed: bool) -> Result<PortError, Over> {
    session.tell(PortEvent::Ready).await?;
    let mut pedal = Pedal::found(closed);
    let mut looks = interval(session.clock.real(LOOK).max(Duration::from_millis(1)));
    looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        tokio::select! {
            () = session.stop.cancelled() => return Err(Over),
            _ = looks.tick() => {}
        }
        let closed = match port.contact(line) {
            Ok(closed) => closed,
            Err(error) => return Ok(error),
        };
        if let Some(press) = pedal.look(session.clock.now().t_s, closed) {
            session.tell_whole(&press.line()).await?;
        }
    }
}
