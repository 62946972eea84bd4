//! What the stamps of a step say. In nearly every step it is that all came in time, and that is found before everything
//! else, while nothing else has to be kept at hand.

use evenkeel_mixer::Scalar;

use crate::brief::shortly;
use crate::supervisor::facts::Watch;
use crate::supervisor::sample_clock::Tick;
use crate::supervisor::supervise::{Supervisor, SupervisorInput, SupervisorState};

/// The stamps of one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Times {
    /// How the sample came.
    pub(super) tick: Tick,
    /// Steady time since the step before.
    pub(super) elapsed_us: u32,
    /// The pilot's newest demand is no older than the limit.
    pub(super) link_alive: bool,
}

/// All in time: the sample clock has no overrun in its window, the link is alive, and what is sensed is new and no older
/// than its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct InTime {
    /// Steady time since the step before.
    pub(super) elapsed_us: u32,
    /// When what is sensed was taken, and its age. Whether it counts, its numbers decide.
    pub(super) sensed_us: u64,
    pub(super) sample_age_us: u32,
}

impl<S: Scalar> Supervisor<S> {
    /// The first part of [`Supervisor::step`]: takes over clock and link where all is in time; none where something is
    /// not, or where the upper halves of stamps differ, and nothing is remembered then.
    ///
    /// * Input: now; when the last demand was received, and what is sensed was taken
    #[inline(always)]
    pub(crate) fn in_time(
        &self,
        memory: &mut SupervisorState,
        now_us: u64,
        demand_at_us: Option<u64>,
        sensed_at_us: Option<u64>,
    ) -> Option<InTime> {
        let elapsed_us = self.clock.in_time(&memory.clock, now_us)?;
        let Watch { link, sensors, .. } = &mut memory.watch;
        let sensed_us = sensed_at_us.filter(|sensed_us| sensors.differs(*sensed_us))?;
        let sample_age_us = shortly(sensed_us, now_us).filter(|age_us| *age_us <= self.limits.sensor_timeout_us)?;
        let demanded_us = demand_at_us?;
        let demand_age_us = shortly(demanded_us, now_us)?;
        let demand_age_us = if link.differs(demanded_us) { demand_age_us } else { link.older_by(elapsed_us) };
        if demand_age_us > self.limits.link_timeout_us {
            return None;
        }
        link.renew(demanded_us, demand_age_us);
        memory.clock.go_on(now_us, elapsed_us);
        Some(InTime { elapsed_us, sensed_us, sample_age_us })
    }

    /// The same for any step.
    pub(super) fn times(
        &self,
        memory: &mut SupervisorState,
        in_time: Option<InTime>,
        input: &SupervisorInput<S>,
    ) -> Times {
        if let Some(InTime { elapsed_us, .. }) = in_time {
            return Times { tick: memory.clock.tick_in_time(), elapsed_us, link_alive: true };
        }
        let (tick, elapsed_us) = self.clock.advance(&mut memory.clock, input.now_us);
        let demand = memory.watch.link.step(input.demand_at_us, input.now_us, elapsed_us);
        Times { tick, elapsed_us, link_alive: demand.within(self.limits.link_timeout_us) }
    }
}
