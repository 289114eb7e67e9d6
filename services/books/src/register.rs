//! What the office keeps on file, every version of it.
//!
//! A version is an entry; the register says which entries are versions of what,
//! and from when each holds. Nothing is edited. [`load`] reads all of it as it
//! stands, together with each site's epoch: whoever decides something from this
//! copy has the scribe check that the epoch has not risen since.

use std::collections::BTreeMap;

use rules::agreed_price::AgreedPrice;
use rules::baseline::Baseline;
use rules::key::Key;
use rules::office::{Device, Party, Scale, Settings, Site, Species, Tote};
use rules::outlet::Room;
use rules::price_list::PriceList;
use rules::weight::WeightUnit;

use crate::db::{Record, Tx, Val};
use crate::doc::{self, Doc, Value};
use crate::table::{Cell, REGISTER, Row};
use crate::{BooksError, corrupt};

/// Everything on file, as last recorded.
#[derive(Debug, Clone, Default)]
pub struct Office {
    /// By number.
    pub sites: BTreeMap<i64, Site>,
    /// The unit that people of a site read, by site: from when, and which.
    pub shown_units: BTreeMap<i64, Vec<(i64, WeightUnit)>>,
    /// By code.
    pub parties: BTreeMap<String, Party>,
    /// By code.
    pub species: BTreeMap<String, Species>,
    /// By site and code.
    pub scales: BTreeMap<(i64, String), Scale>,
    /// By site and code, every version of a scale in order of recording.
    pub scale_versions: BTreeMap<(i64, String), Vec<Version<Scale>>>,
    /// By site and code.
    pub totes: BTreeMap<(i64, String), Tote>,
    /// By site and code, every version of a tote in order of recording.
    pub tares: BTreeMap<(i64, String), Vec<Version<Tote>>>,
    /// By site and code.
    pub devices: BTreeMap<(i64, String), Device>,
    /// By site, every version in order of posting.
    pub settings: BTreeMap<i64, Vec<Version<Settings>>>,
    /// By site and species, every version in order of posting.
    pub price_lists: BTreeMap<(i64, String), Vec<Version<PriceList>>>,
    /// By site and diver, every version in order of recording.
    pub agreed_prices: BTreeMap<(i64, String), Vec<Version<AgreedPrice>>>,
    /// By site: days that control charts are held against, in order of entry.
    pub baselines: BTreeMap<i64, Vec<Version<Baseline>>>,
    /// Rooms for small fish by site and code, every version in order of recording.
    pub rooms: BTreeMap<(i64, String), Vec<Version<Room>>>,
    /// Keys ever given out, by the SHA-256 they are known by, each with the entry
    /// that gave it out.
    pub keys: BTreeMap<String, (i64, Key)>,
    /// By site.
    pub epochs: BTreeMap<i64, i64>,
}

/// A version of something on file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version<T> {
    /// Entry that recorded it.
    pub entry: i64,
    /// From when it holds, microseconds since 1970 UTC.
    pub from_us: i64,
    /// What was recorded.
    pub content: T,
}

impl Office {
    /// The site's epoch as read; 1 before anything was recorded for it.
    #[must_use]
    pub fn epoch(&self, site: i64) -> i64 {
        self.epochs.get(&site).copied().unwrap_or(1)
    }

    /// The settings in force at an instant; the defaults where none were
    /// recorded. With them the entry that recorded them, 0 for the defaults.
    #[must_use]
    pub fn settings_at(&self, site: i64, at_us: i64) -> (i64, Settings) {
        let versions = self.settings.get(&site).map_or(&[][..], Vec::as_slice);
        in_force(versions, at_us).map_or_else(
            || {
                (
                    0,
                    Settings {
                        site,
                        ..Settings::default()
                    },
                )
            },
            |version| (version.entry, version.content.clone()),
        )
    }

    /// What was ever agreed with a diver at a site, each with its entry.
    #[must_use]
    pub fn agreed_with(&self, site: i64, harvester: &str) -> Vec<(i64, &AgreedPrice)> {
        let key = (site, harvester.to_owned());
        let versions = self.agreed_prices.get(&key).map_or(&[][..], Vec::as_slice);
        versions
            .iter()
            .map(|version| (version.entry, &version.content))
            .collect()
    }

    /// The unit that people of a site read at an instant, so that an answer given
    /// again reads as it did the first time; pounds where nothing was said yet.
    #[must_use]
    pub fn shown_unit_at(&self, site: i64, at_us: i64) -> WeightUnit {
        let units = self.shown_units.get(&site).map_or(&[][..], Vec::as_slice);
        let then = units.iter().rev().find(|(from_us, _)| *from_us <= at_us);
        then.or(units.first())
            .map_or(WeightUnit::Lb, |(_, unit)| *unit)
    }

    /// A tote as it was on file at an instant; as it was first put on file where that
    /// was later. `None` where it never was.
    #[must_use]
    pub fn tote_at(&self, site: i64, code: &str, at_us: i64) -> Option<&Tote> {
        let versions = self.tares.get(&(site, code.to_owned()))?;
        let then = in_force(versions, at_us).or(versions.first());
        then.map(|version| &version.content)
    }

    /// A site's scales by code, as they were on file at an instant; as one was first put
    /// on file where that was later.
    #[must_use]
    pub fn scales_at(&self, site: i64, at_us: i64) -> BTreeMap<String, Scale> {
        let of_site = self
            .scale_versions
            .iter()
            .filter(|((of, _), _)| *of == site);
        of_site
            .filter_map(|((_, code), versions)| {
                let then = in_force(versions, at_us).or(versions.first())?;
                Some((code.clone(), then.content.clone()))
            })
            .collect()
    }

    /// A site's rooms for small fish as they were on file at an instant, in order of code,
    /// each with the entry that first put it on file.
    #[must_use]
    pub fn rooms_at(&self, site: i64, at_us: i64) -> Vec<(i64, &Version<Room>)> {
        let of_site = self.rooms.iter().filter(|((of, _), _)| *of == site);
        of_site
            .filter_map(|(_, versions)| {
                let then = in_force(versions, at_us)?;
                Some((versions.first()?.entry, then))
            })
            .collect()
    }

    /// The price list in force at an instant.
    #[must_use]
    pub fn price_list_at(
        &self,
        site: i64,
        species: &str,
        at_us: i64,
    ) -> Option<&Version<PriceList>> {
        let versions = self.price_lists.get(&(site, species.to_owned()))?;
        in_force(versions, at_us)
    }
}

fn in_force<T>(versions: &[Version<T>], at_us: i64) -> Option<&Version<T>> {
    rules::price_list::in_force(versions, at_us, |version| (version.from_us, version.entry))
}

/// The register row of a version, for the deed that records it.
#[must_use]
pub fn row(kind: &'static str, site: i64, code: &str, from_us: i64) -> Row {
    Row::new(
        &REGISTER,
        [
            kind.into(),
            site.into(),
            code.into(),
            Cell::Own,
            from_us.into(),
        ],
    )
}

/// The epoch of every site; 0 is that of what all sites share.
///
/// # Errors
/// Engine trouble.
pub async fn epochs(tx: &mut Tx) -> Result<BTreeMap<i64, i64>, BooksError> {
    let sql = "SELECT site, next FROM head WHERE day = 0";
    let rows = tx.fetch(sql, &[]).await?;
    Ok(rows.iter().map(|row| (row.int(0), row.int(1))).collect())
}

/// Reads all that is on file.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn load(tx: &mut Tx) -> Result<Office, BooksError> {
    let mut office = Office {
        epochs: epochs(tx).await?,
        ..Office::default()
    };
    let sql = format!("{VERSIONS} ORDER BY r.entry");
    for row in tx.fetch(&sql, &[]).await? {
        office.put(&row)?;
    }
    Ok(office)
}

/// A copy brought up to date by whoever put one more thing on file: `entry`, which
/// raised the epochs of these sites. All is read where anything else is new as well.
///
/// # Errors
/// Engine trouble, or a document that does not read.
pub async fn load_one_more(
    tx: &mut Tx,
    known: &Office,
    entry: i64,
    bumps: &[i64],
) -> Result<Office, BooksError> {
    let now = epochs(tx).await?;
    if now == known.epochs {
        return Ok(known.clone());
    }
    let mut one_more = known.epochs.clone();
    for site in bumps {
        *one_more.entry(*site).or_insert(1) += 1;
    }
    if now != one_more {
        return load(tx).await;
    }
    let mut office = known.clone();
    office.epochs = now;
    let sql = format!("{VERSIONS} WHERE r.entry = ?");
    for row in tx.fetch(&sql, &[Val::Int(entry)]).await? {
        office.put(&row)?;
    }
    Ok(office)
}

const VERSIONS: &str = "SELECT r.kind, r.site, r.code, r.entry, r.from_us, e.doc \
                        FROM register r JOIN entry e ON e.id = r.entry";

impl Office {
    /// Takes in a version that is newer than all of the same thing.
    fn put(&mut self, row: &Record) -> Result<(), BooksError> {
        let (kind, site, code) = (row.text(0), row.int(1), row.text(2).to_owned());
        let (entry, from_us) = (row.int(3), row.int(4));
        let bad = |e| corrupt("entry", "doc", entry, e);
        let document: Value =
            serde_json::from_str(row.text(5)).map_err(|e| bad(doc::BadDoc::here(e.to_string())))?;
        let asked = document.get("outcome").unwrap_or(&Value::Null);
        match kind {
            "site" => {
                let content = Site::from_doc(asked).map_err(bad)?;
                let units = self.shown_units.entry(site).or_default();
                units.push((from_us, content.shown_unit));
                self.sites.insert(site, content);
            }
            "party" => {
                self.parties
                    .insert(code, Party::from_doc(asked).map_err(bad)?);
            }
            "species" => {
                self.species
                    .insert(code, Species::from_doc(asked).map_err(bad)?);
            }
            "scale" => {
                let content = Scale::from_doc(asked).map_err(bad)?;
                let versions = self.scale_versions.entry((site, code.clone()));
                versions.or_default().push(Version {
                    entry,
                    from_us,
                    content: content.clone(),
                });
                self.scales.insert((site, code), content);
            }
            "tote" => {
                let content = Tote::from_doc(asked).map_err(bad)?;
                let versions = self.tares.entry((site, code.clone())).or_default();
                versions.push(Version {
                    entry,
                    from_us,
                    content: content.clone(),
                });
                self.totes.insert((site, code), content);
            }
            "device" => {
                self.devices
                    .insert((site, code), Device::from_doc(asked).map_err(bad)?);
            }
            "settings" => {
                let content = Settings::from_doc(asked).map_err(bad)?;
                self.settings.entry(site).or_default().push(Version {
                    entry,
                    from_us,
                    content,
                });
            }
            "price_list" => {
                let content = PriceList::from_doc(asked).map_err(bad)?;
                let versions = self.price_lists.entry((site, code)).or_default();
                versions.push(Version {
                    entry,
                    from_us,
                    content,
                });
            }
            "agreed_price" => {
                let content = AgreedPrice::from_doc(asked).map_err(bad)?;
                let versions = self.agreed_prices.entry((site, code)).or_default();
                versions.push(Version {
                    entry,
                    from_us,
                    content,
                });
            }
            "baseline" => {
                let content = Baseline::from_doc(asked).map_err(bad)?;
                self.baselines.entry(site).or_default().push(Version {
                    entry,
                    from_us,
                    content,
                });
            }
            "room" => {
                let content = Room::from_doc(asked).map_err(bad)?;
                self.rooms.entry((site, code)).or_default().push(Version {
                    entry,
                    from_us,
                    content,
                });
            }
            "key" => {
                let key = Key::from_doc(asked).map_err(bad)?;
                // Its first entry names it, also once it is revoked.
                let on_file = self.keys.entry(code).or_insert((entry, key.clone()));
                on_file.1 = key;
            }
            other => {
                return Err(corrupt("register", "kind", entry, doc::BadDoc::here(other)));
            }
        }
        Ok(())
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
