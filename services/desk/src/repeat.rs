//! Whether a deed was booked before.
//!
//! The answer to a repeat is the first answer, to the byte, so it cannot say that it
//! is one. Whoever asks is told beside the answer.

use std::cell::Cell;
use std::future::Future;

tokio::task_local! {
    static BOOKED_BEFORE: Cell<bool>;
}

/// Does a deed, and says whether it had been booked before.
pub async fn told_if_repeated<T>(deed: impl Future<Output = T>) -> (T, bool) {
    let answer = async {
        let answer = deed.await;
        (answer, BOOKED_BEFORE.with(Cell::get))
    };
    BOOKED_BEFORE.scope(Cell::new(false), answer).await
}

/// Notes that the answer is of an earlier request. Nobody may have asked.
pub(crate) fn note() {
    let _nobody_asks = BOOKED_BEFORE.try_with(|before| before.set(true));
}
