//! Loops compiled twice: for any processor, and for one that reckons with four doubles at once.

/// Does it with the widest instructions of the processor at hand. What comes out is the same to the last digit, as each operation rounds
/// by itself either way. Only what is inlined into it becomes faster: it and what it calls are to be `#[inline(always)]`.
#[inline(always)]
pub(crate) fn widest<R>(work: impl FnOnce() -> R) -> R {
    #[cfg(any(target_arch = "x86", target_arch = "x86_64"))]
    if let Some(processor) = fearless_simd::Level::new().as_avx2() {
        return fearless_simd::Simd::vectorize(processor, work);
    }
    work()
}
