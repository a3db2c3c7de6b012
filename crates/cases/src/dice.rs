//! A small generator of its own, so that what is drawn is the same everywhere.

/// Draws whole numbers.
#[derive(Debug)]
pub struct Dice(u64);

impl Dice {
    /// The same seed draws the same numbers.
    #[must_use]
    pub fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(2_654_435_761).wrapping_add(97))
    }

    /// From 0 to one less than `sides`.
    pub fn roll(&mut self, sides: u32) -> u32 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let high = u32::try_from(self.0 >> 33).unwrap_or(0);
        high % sides
    }

    /// Both ends may come.
    pub(crate) fn between(&mut self, low: u32, high: u32) -> u32 {
        low + self.roll(high - low + 1)
    }

    /// Whether something happens that has this chance, to a hundredth of a percent.
    pub fn happens(&mut self, chance: f64) -> bool {
        f64::from(self.roll(10_000)) < chance * 1e4
    }

    pub(crate) fn one_in(&mut self, n: u32) -> bool {
        self.roll(n) == 0
    }

    pub(crate) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        from[self.roll(u32::try_from(from.len()).unwrap_or(1)) as usize]
    }
}
