//! A book tells what it is, on both engines.

use super::*;
use crate::conformance;
use crate::entries::tests::{deed, write};

conformance! {
    a_book_is_fresh_until_a_deed_is_written, check_fresh;
    a_simulated_clock_never_goes_back, check_clock;
}

async fn check_fresh(db: Db) {
    assert!(is_fresh(&db).await.unwrap());
    set_simulated_now(&db, 1).await.unwrap();
    assert!(is_fresh(&db).await.unwrap(), "a clock is no deed");
    write(&db, deed("party", "r1")).await;
    assert!(!is_fresh(&db).await.unwrap());
}

async fn check_clock(db: Db) {
    assert_eq!(simulated_now(&db).await.unwrap(), None, "an ordinary book");
    for (set, shows) in [
        (-5, -5),
        (-6, -5),
        (0, 0),
        (1_935_500_400_000_000, 1_935_500_400_000_000),
        (1_935_500_399_999_999, 1_935_500_400_000_000),
        // As a number, not as text.
        (9, 1_935_500_400_000_000),
        (i64::MAX, i64::MAX),
    ] {
        set_simulated_now(&db, set).await.unwrap();
        assert_eq!(simulated_now(&db).await.unwrap(), Some(shows), "{set}");
    }
    let again = db.again().await.unwrap();
    assert_eq!(simulated_now(&again).await.unwrap(), Some(i64::MAX));
    let mut tx = again.write().await.unwrap();
    let garbled = "UPDATE book SET value = 'noon' WHERE name = 'simulated_now_us'";
    tx.execute(garbled, &[]).await.unwrap();
    tx.commit().await.unwrap();
    let error = simulated_now(&again).await.unwrap_err().to_string();
    assert!(error.contains("simulated_now_us"), "{error}");
    again.close().await;
}
