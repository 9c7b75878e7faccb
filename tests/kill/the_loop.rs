//! The loop itself: start, let them write, kill, look, start again.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use crate::books::{CLIENTS, Verdict, judge, kept, wounds};
use crate::chance::Chance;
use crate::clients::{Client, Diary, Manners, Road};
use crate::early::EarlyFront;
use crate::program::{Place, Program};
use crate::studio::{Desk, set_up};

/// What stands between clients and program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Front {
    None,
    /// The control: says "kept" before anything is.
    AcknowledgesEarly,
}

/// One run.
pub(crate) struct Plan {
    pub(crate) kills: usize,
    pub(crate) seed: u64,
    pub(crate) manners: Manners,
    pub(crate) front: Front,
}

/// What came of it.
pub(crate) struct Outcome {
    pub(crate) verdict: Verdict,
    /// What SQLite found wrong, after any kill.
    pub(crate) wounds: Vec<String>,
    pub(crate) refusals: Vec<String>,
    pub(crate) audit_holds: bool,
    pub(crate) audit_says: String,
    ready_after: Vec<Duration>,
    seed: u64,
}

/// Runs the plan to its end, with everything asked again until it is acknowledged, and counts.
pub(crate) fn run(place: &Place, plan: &Plan) -> Outcome {
    let mut chance = Chance::new(plan.seed);
    let first = Program::start(place);
    let desks = set_up(&first);
    first.kill();

    let front = (plan.front == Front::AcknowledgesEarly).then(EarlyFront::open);
    let road = Arc::new(Road::default());
    let diaries = start_clients(desks, plan, &mut chance, &road);
    let mut ready_after = Vec::new();
    let mut wounds = Vec::new();
    // A release run need not copy a large file a thousand times to look at it.
    let look_every = plan.kills.div_ceil(50).max(1);
    for kill in 0..plan.kills {
        let program = Program::start(place);
        ready_after.push(program.ready_after);
        let before = road.acknowledged();
        open(&road, &program, front.as_ref());
        // Counted from the first acknowledgement, so that a slow machine's kills meet work too; one in four strikes
        // whatever is going on.
        if !chance.one_in(4) {
            road.wait_for_more(before, Duration::from_secs(5));
        }
        std::thread::sleep(Duration::from_micros(60_000 + chance.below(100_000)));
        if let Some(front) = &front {
            front.lose_memory();
        }
        program.kill();
        road.close();
        if place.postgres.is_none() && kill % look_every == 0 {
            wounds.extend(look_at(place).into_iter().map(|wound| format!("after kill {kill}: {wound}")));
        }
    }
    let diaries = last_round(place, &road, front.as_ref(), diaries);
    conclude(place, plan, diaries, wounds, ready_after)
}

fn start_clients(
    desks: Vec<Desk>,
    plan: &Plan,
    chance: &mut Chance,
    road: &Arc<Road>,
) -> Vec<std::thread::JoinHandle<Diary>> {
    (0..CLIENTS)
        .zip(desks)
        .map(|(first, desk)| {
            let chance = Chance::new(chance.below(u64::MAX));
            Client { desk, manners: plan.manners, chance, first, step: CLIENTS }.work(Arc::clone(road))
        })
        .collect()
}

fn open(road: &Road, program: &Program, front: Option<&EarlyFront>) {
    match front {
        None => road.open(program.address),
        Some(front) => {
            front.stand_before(program.address);
            road.open(front.address);
        }
    }
}

/// Everything still open is asked again until it is acknowledged; then the program is killed once more, so that only
/// what it had already made sure of counts.
fn last_round(
    place: &Place,
    road: &Road,
    front: Option<&EarlyFront>,
    clients: Vec<std::thread::JoinHandle<Diary>>,
) -> Vec<Diary> {
    let program = Program::start(place);
    road.last_round();
    open(road, &program, front);
    let diaries = clients.into_iter().map(|client| client.join().unwrap()).collect();
    if let Some(front) = front {
        front.lose_memory();
    }
    program.kill();
    road.close();
    diaries
}

fn conclude(
    place: &Place,
    plan: &Plan,
    diaries: Vec<Diary>,
    mut wounds: Vec<String>,
    ready_after: Vec<Duration>,
) -> Outcome {
    // The last kill's leftovers are recovered by the program, not by the count.
    Program::start(place).kill();
    if place.postgres.is_none() {
        wounds.extend(look_at(place));
    }
    let audit = place.command(&["audit", "verify"]).output().unwrap();
    let entries: Vec<_> = diaries.iter().flat_map(|diary| diary.entries.iter().cloned()).collect();
    Outcome {
        verdict: judge(&entries, &block_on(kept(&place.url()))),
        wounds,
        refusals: diaries.into_iter().flat_map(|diary| diary.refusals).collect(),
        audit_holds: audit.status.success(),
        audit_says: format!("{}{}", String::from_utf8_lossy(&audit.stdout), String::from_utf8_lossy(&audit.stderr)),
        ready_after,
        seed: plan.seed,
    }
}

fn look_at(place: &Place) -> Vec<String> {
    block_on(wounds(&place.data))
}

fn block_on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(work)
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Verdict { acknowledged, sent_again, lost, doubled, half, invented, overlaps, refused } = &self.verdict;
        let mut ready = self.ready_after.clone();
        ready.sort();
        let at = |share: usize| ready.get(ready.len() * share / 100).or(ready.last()).copied().unwrap_or_default();
        write!(
            f,
            "{} kills, seed {}: {acknowledged} acknowledged, {sent_again} sent again, {lost} lost, {doubled} doubled, \
             {half} half, {invented} invented, {overlaps} overlaps, {refused} refused as taken, {} wounds, {} refusals; ready again after {:.0?} (half of the starts), {:.0?} (slowest)",
            ready.len(),
            self.seed,
            self.wounds.len(),
            self.refusals.len(),
            at(50),
            at(100),
        )
    }
}
