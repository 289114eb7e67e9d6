//! Asking whether small fish should be cut or go to soup.

use books::close;
use rules::close::SmallFishRow;
use rules::fish::Presentation;
use rules::small_fish::bands::BandAtTable;
use rules::small_fish::{BELIEVABLE_YIELD_E2, MINUTES_OF_ONE_CUT_PERCENT, YIELD_OF_ONE_CUT_E2};
use rules::weight::Weight;

use crate::{Caller, Desk, DeskError};

/// Small fish somebody asks about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SmallFishAsked {
    /// Its site.
    pub site: i64,
    /// ASFIS code.
    pub species: String,
    /// Cut specification.
    pub specification: String,
    /// One fish, whole; above zero.
    pub piece: Weight,
    /// Yield that is expected, hundredths of a percent; absent is what was recorded.
    pub yield_e2: Option<i64>,
    /// Hundredths of a minute for one fish; absent is what was recorded.
    pub minutes_e2: Option<i64>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SmallFishFound {
    /// Both sides of it.
    pub row: SmallFishRow,
    /// Where yield or minutes were looked up: the last close, `YYYYMMDD`.
    pub from_close: Option<i64>,
    /// The yield is one that a table gives.
    pub believable: bool,
}

impl Desk {
    /// Weighs cutting small fish against soup, by the site's settings of today. What is
    /// not given of yield and minutes is taken from the last close, of the band whose
    /// fish weigh most nearly the same.
    ///
    /// # Errors
    /// An unknown site or species; nothing given and nothing on record.
    pub async fn weigh_small_fish(
        &self,
        caller: &Caller,
        asked: SmallFishAsked,
    ) -> Result<SmallFishFound, DeskError> {
        caller.may("small_fish")?;
        self.at_site(caller, asked.site)?;
        let now_us = self.known_site("site", asked.site).await?;
        let office = self.fresh_office().await?;
        if !office.species.contains_key(&asked.species) {
            return Err(DeskError::unknown("species", "species", &asked.species));
        }
        let (_, settings) = office.settings_at(asked.site, now_us);
        let currency = self.money_of(asked.site)?;
        let recorded = if asked.yield_e2.is_none() || asked.minutes_e2.is_none() {
            self.nearest_band(&asked).await?
        } else {
            None
        };
        let missing = |field: &str| {
            DeskError::malformed(
                field,
                "must be given: no cut of such fish was timed and its fish counted",
            )
        };
        let row = recorded.as_ref().map(|(_, row)| row);
        let (yield_e2, yield_u_e2) = asked
            .yield_e2
            .map(|said| (said, YIELD_OF_ONE_CUT_E2))
            .or(row.map(|row| (row.yield_e2, row.yield_u_e2)))
            .ok_or_else(|| missing("yield_percent"))?;
        let (minutes_e2, minutes_u_e2) = asked
            .minutes_e2
            .map(|said| (said, said * MINUTES_OF_ONE_CUT_PERCENT / 100))
            .or(row.map(|row| (row.minutes_e2, row.minutes_u_e2)))
            .ok_or_else(|| missing("minutes_per_fish"))?;
        let band = BandAtTable {
            species: asked.species,
            presentation: Presentation::Whole,
            specification: asked.specification,
            band: row.map_or_else(String::new, |row| row.band.clone()),
            cuts: row.map_or(0, |row| row.cuts),
            input: Weight::ZERO,
            fillet: Weight::ZERO,
            yield_e2: (yield_e2, yield_u_e2),
            timed_cuts: row.map_or(0, |row| row.timed_cuts),
            piece: Some(asked.piece),
            minutes_e2: Some((minutes_e2, minutes_u_e2)),
        };
        let shown_unit = office.shown_unit_at(asked.site, now_us);
        let (least, most) = BELIEVABLE_YIELD_E2;
        Ok(SmallFishFound {
            believable: (least..=most).contains(&yield_e2),
            from_close: recorded.as_ref().map(|(day, _)| *day),
            row: settings
                .judging
                .table_prices(&band.species, &band.specification, currency)
                .and_then(|prices| SmallFishRow::weighed(&band, &prices, shown_unit))
                .ok_or_else(|| DeskError::malformed("piece", "cannot be weighed against soup"))?,
        })
    }

    /// Of the last close, the band of such fish that weigh most nearly as much.
    async fn nearest_band(
        &self,
        asked: &SmallFishAsked,
    ) -> Result<Option<(i64, SmallFishRow)>, DeskError> {
        let mut tx = self.read().await?;
        let Some(day) = close::last_day(&mut tx, asked.site, i64::MAX).await? else {
            return Ok(None);
        };
        let Some(stored) = close::stored(&mut tx, asked.site, day, None).await? else {
            return Ok(None);
        };
        let bands = stored.read()?.small_fish.into_iter().filter(|row| {
            row.species == asked.species
                && row.presentation == Presentation::Whole
                && row.specification == asked.specification
        });
        let apart = |row: &SmallFishRow| row.piece.units().abs_diff(asked.piece.units());
        Ok(bands.min_by_key(apart).map(|row| (day, row)))
    }
}
