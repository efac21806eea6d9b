//! The loop of a live command: one receiver, and at most thirty pictures a second.

use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};
use std::time::{Duration, Instant};

/// Time between two pictures at least.
pub const BETWEEN_PICTURES: Duration = Duration::from_millis(33);
/// Events taken in a row before the next look at the clock.
const IN_A_ROW: usize = 256;

/// A live command: what its events do, and when it is over.
pub trait App {
    /// What it is told.
    type Event;

    /// Takes an event; whether there is something new to show.
    fn take(&mut self, event: Self::Event) -> bool;

    /// What time brings (a ball on its way, a wait that ends); whether there is
    /// something new to show. Called at least as often as [`App::patience`] says.
    fn tick(&mut self) -> bool {
        false
    }

    /// How long it can be left alone when no event comes.
    fn patience(&self) -> Duration {
        Duration::from_millis(250)
    }

    /// What may take its time (the journal), done after the picture.
    ///
    /// # Errors
    /// Whatever ends the command.
    fn after(&mut self) -> anyhow::Result<()> {
        Ok(())
    }

    /// Whether it has come to its end.
    fn is_over(&self) -> bool;
}

/// Runs a live command until it is over or nobody can tell it anything any more.
/// `show` is called with what is new, the first time at once and a last time at
/// the end.
///
/// # Errors
/// What `show` or the command says.
pub fn run<A: App>(
    events: &Receiver<A::Event>,
    app: &mut A,
    show: &mut dyn FnMut(&mut A) -> io::Result<()>,
) -> anyhow::Result<()> {
    show(app)?;
    let mut shown = Instant::now();
    let mut is_new = false;
    loop {
        let rest = BETWEEN_PICTURES.saturating_sub(shown.elapsed());
        let patience = if is_new { rest } else { app.patience() };
        let mut is_left = true;
        match events.recv_timeout(patience) {
            Ok(event) => is_new |= app.take(event),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => is_left = false,
        }
        for _ in 0..IN_A_ROW {
            match events.try_recv() {
                Ok(event) => is_new |= app.take(event),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    is_left = false;
                    break;
                }
            }
        }
        is_new |= app.tick();
        let is_over = app.is_over() || !is_left;
        if is_over || (is_new && shown.elapsed() >= BETWEEN_PICTURES) {
            show(app)?;
            shown = Instant::now();
            is_new = false;
        }
        app.after()?;
        if is_over {
            return Ok(());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    struct Count {
        taken: usize,
        end: usize,
    }

    impl App for Count {
        type Event = ();
        fn take(&mut self, (): ()) -> bool {
            self.taken += 1;
            true
        }
        fn is_over(&self) -> bool {
            self.taken >= self.end
        }
    }

    #[test]
    fn many_events_make_few_pictures_and_the_last_is_shown() {
        let (tell, told) = channel();
        let teller = std::thread::spawn(move || {
            for _ in 0..300 {
                tell.send(()).unwrap();
                std::thread::sleep(Duration::from_micros(500));
            }
        });
        let mut app = Count { taken: 0, end: 300 };
        let (mut pictures, mut last) = (0, 0);
        let start = Instant::now();
        run(&told, &mut app, &mut |app| {
            pictures += 1;
            last = app.taken;
            Ok(())
        })
        .unwrap();
        teller.join().unwrap();
        let most = start.elapsed().as_secs_f64() / BETWEEN_PICTURES.as_secs_f64() + 3.0;
        assert!((pictures as f64) <= most, "{pictures} of at most {most}");
        assert_eq!(last, 300);
    }

    #[test]
    fn it_ends_when_nobody_is_left_to_tell() {
        let (tell, told) = channel::<()>();
        drop(tell);
        let mut app = Count { taken: 0, end: 1 };
        run(&told, &mut app, &mut |_| Ok(())).unwrap();
        assert_eq!(app.taken, 0);
    }
}
