//! Putting things on file: sites, parties, species, scales, totes, devices,
//! settings and price lists.
//!
//! Recording a code again adds a version. What belongs to a site raises that
//! site's epoch; what all sites share raises everybody's.

use std::sync::Arc;

use books::register::{self, Office, Version};
use books::{Condition, tickets};
use rules::agreed_price::{AgreedPrice, AgreedPriceError};
use rules::baseline::{Baseline, BaselineNotOver};
use rules::business_day::{day_before, utc_day};
use rules::office::{Device, Party, Scale, Settings, Site, Species, Tote};
use rules::price_list::{self, PriceList};
use rules::ticket::Notice;

use crate::{Booked, Caller, Desk, DeskError, Plan};

/// Stands for "60 s from now" in a price list that names no instant.
pub const IN_A_MINUTE: i64 = i64::MIN;

const MINUTE_US: i64 = 60_000_000;

impl Desk {
    /// Records a site, or a newer version of it. Its zone, cut-over hour and
    /// currency never change, or days and sums would.
    ///
    /// # Errors
    /// An unknown buyer, or a change of what cannot change.
    pub async fn record_site(
        &self,
        caller: &Caller,
        request_id: &str,
        site: Site,
    ) -> Result<Booked<Site, Site>, DeskError> {
        self.deed(caller, "site", request_id, site, |site| async move {
            let office = self.office();
            let is_theirs = |buyer: &str| !caller.is_bound() || buyer == caller.party;
            let old = office.sites.get(&site.number);
            if !is_theirs(&site.buyer) || old.is_some_and(|old| !is_theirs(&old.buyer)) {
                return Err(DeskError::Denied);
            }
            if !office.parties.contains_key(&site.buyer) {
                return Err(DeskError::unknown("site.buyer", "party", &site.buyer));
            }
            if let Some(old) = office.sites.get(&site.number)
                && (old.clock != site.clock || old.currency != site.currency)
            {
                return Err(DeskError::precondition(
                    "SITE_IS_FIXED",
                    "a site's time zone, cut-over hour and currency cannot change",
                ));
            }
            let now_us = self.now_us().await?;
            let rows = vec![register::row("site", site.number, "", now_us)];
            Ok(self.shared(now_us, vec![site.number], site.buyer.clone(), site, rows))
        })
        .await
    }

    /// Records a party, or a newer version of it.
    ///
    /// # Errors
    /// The book cannot be reached, or the request id was used for another request.
    pub async fn record_party(
        &self,
        caller: &Caller,
        request_id: &str,
        party: Party,
    ) -> Result<Booked<Party, Party>, DeskError> {
        self.deed(caller, "party", request_id, party, |party| async move {
            let now_us = self.now_us().await?;
            let rows = vec![register::row("party", 0, &party.code, now_us)];
            Ok(self.shared(now_us, self.every_site(), party.code.clone(), party, rows))
        })
        .await
    }

    /// Records a species, or a newer version of it.
    ///
    /// # Errors
    /// The book cannot be reached, or the request id was used for another request.
    pub async fn record_species(
        &self,
        caller: &Caller,
        request_id: &str,
        species: Species,
    ) -> Result<Booked<Species, Species>, DeskError> {
        self.deed(
            caller,
            "species",
            request_id,
            species,
            |species| async move {
                let now_us = self.now_us().await?;
                let rows = vec![register::row("species", 0, &species.code, now_us)];
                Ok(self.shared(now_us, self.every_site(), String::new(), species, rows))
            },
        )
        .await
    }

    /// Records a scale of a site, or a newer version of it.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn record_scale(
        &self,
        caller: &Caller,
        request_id: &str,
        scale: Scale,
    ) -> Result<Booked<Scale, Scale>, DeskError> {
        self.at_site(caller, scale.site)?;
        self.deed(caller, "scale", request_id, scale, |scale| async move {
            let now_us = self.known_site("scale.site", scale.site).await?;
            let rows = vec![register::row("scale", scale.site, &scale.code, now_us)];
            Ok(self.local(now_us, scale.site, scale, rows))
        })
        .await
    }

    /// Records a named tote of a site, or a newer tare of it.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn record_tote(
        &self,
        caller: &Caller,
        request_id: &str,
        tote: Tote,
    ) -> Result<Booked<Tote, Tote>, DeskError> {
        self.at_site(caller, tote.site)?;
        self.deed(caller, "tote", request_id, tote, |tote| async move {
            let now_us = self.known_site("tote.site", tote.site).await?;
            let rows = vec![register::row("tote", tote.site, &tote.code, now_us)];
            Ok(self.local(now_us, tote.site, tote, rows))
        })
        .await
    }

    /// Records a device of a site, or a newer version of it.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn record_device(
        &self,
        caller: &Caller,
        request_id: &str,
        device: Device,
    ) -> Result<Booked<Device, Device>, DeskError> {
        self.at_site(caller, device.site)?;
        self.deed(caller, "device", request_id, device, |device| async move {
            let now_us = self.known_site("device.site", device.site).await?;
            let rows = vec![register::row("device", device.site, &device.code, now_us)];
            Ok(self.local(now_us, device.site, device, rows))
        })
        .await
    }

    /// Records a site's settings from an instant on.
    ///
    /// # Errors
    /// An unknown site or species, money of another currency, or an instant
    /// that has passed once the site has settings.
    pub async fn record_settings(
        &self,
        caller: &Caller,
        request_id: &str,
        settings: Settings,
    ) -> Result<Booked<Settings, Settings>, DeskError> {
        self.at_site(caller, settings.site)?;
        self.deed(
            caller,
            "settings",
            request_id,
            settings,
            |settings| async move {
                let site = settings.site;
                let now_us = self.known_site("settings.site", site).await?;
                let office = self.office();
                if let (Some(value), Some(on_file)) = (settings.flag_value, office.sites.get(&site))
                    && value.currency() != on_file.currency
                {
                    return Err(DeskError::malformed(
                        "settings.flag_value.currency",
                        format!("the site's money is {}", on_file.currency),
                    ));
                }
                for (i, rate) in settings.drip_rates.iter().enumerate() {
                    if !office.species.contains_key(&rate.species) {
                        let field = format!("settings.drip_rates[{i}].species");
                        return Err(DeskError::unknown(field, "species", &rate.species));
                    }
                }
                for (field, species) in settings.receiving.species() {
                    if !office.species.contains_key(species) {
                        let field = format!("settings.{field}");
                        return Err(DeskError::unknown(field, "species", species));
                    }
                }
                let from_us = settings.effective_from_us.unwrap_or(now_us);
                if from_us < now_us && office.settings.contains_key(&site) {
                    return Err(DeskError::malformed(
                        "settings.effective_from",
                        "settings are never back-dated once a site has some",
                    ));
                }
                let rows = vec![register::row("settings", site, "", from_us)];
                Ok(self.local(now_us, site, settings, rows))
            },
        )
        .await
    }

    /// Posts a price list, and says what is odd about it.
    ///
    /// # Errors
    /// A list that cannot stand (4.1), an unknown site or species, another
    /// currency than the site's, or one that is back-dated (4.4).
    pub async fn post_price_list(
        &self,
        caller: &Caller,
        request_id: &str,
        list: PriceList,
    ) -> Result<(Booked<PriceList, PriceList>, Vec<Notice>), DeskError> {
        self.at_site(caller, list.site)?;
        let booked = self
            .deed(caller, "price_list", request_id, list, |asked| async move {
                let now_us = self.known_site("price_list.site", asked.site).await?;
                let list = self.checked_list(&asked, now_us).await?;
                let code = list.species.clone();
                let rows = vec![register::row(
                    "price_list",
                    list.site,
                    &code,
                    list.effective_from_us,
                )];
                let plan = self.local(now_us, list.site, asked, rows);
                Ok(Plan {
                    outcome: list,
                    ..plan
                })
            })
            .await?;
        let notices = self.odd_in(&booked.outcome);
        Ok((booked, notices))
    }

    /// What is odd about a list that can stand.
    pub(crate) fn odd_in(&self, list: &PriceList) -> Vec<Notice> {
        // Pieces are weighed on the finest scale there is.
        let office = self.office();
        let scales = office
            .scales
            .values()
            .filter(|scale| scale.site == list.site);
        let finest = scales.min_by_key(|scale| scale.division.weight);
        let notices = finest.and_then(|scale| list.lowest_edge_warning(scale));
        notices.into_iter().collect()
    }

    /// Records a price agreed with a diver.
    ///
    /// # Errors
    /// An unknown site, diver or species, another unit than the list in force
    /// has, or one that is back-dated (4.5).
    pub async fn record_agreed_price(
        &self,
        caller: &Caller,
        request_id: &str,
        agreed: AgreedPrice,
    ) -> Result<Booked<AgreedPrice, AgreedPrice>, DeskError> {
        self.at_site(caller, agreed.site)?;
        self.deed(
            caller,
            "agreed_price",
            request_id,
            agreed,
            |asked| async move {
                let now_us = self.known_site("agreed_price.site", asked.site).await?;
                let office = self.office();
                if !office.parties.contains_key(&asked.harvester) {
                    let field = "agreed_price.harvester";
                    return Err(DeskError::unknown(field, "party", &asked.harvester));
                }
                if !office.species.contains_key(&asked.species) {
                    let field = "agreed_price.species";
                    return Err(DeskError::unknown(field, "species", &asked.species));
                }
                let from_us = asked.holds_from(now_us).map_err(|e| match e {
                    AgreedPriceError::BackDated { .. } => DeskError::Malformed {
                        field: "agreed_price.from".to_owned(),
                        reason: "AGREED_PRICE_BACK_DATED",
                        rule: e.to_string(),
                    },
                    AgreedPriceError::NoTime => {
                        DeskError::malformed("agreed_price.to", e.to_string())
                    }
                })?;
                let list = office.price_list_at(asked.site, &asked.species, from_us);
                if let Some(list) = list.filter(|list| list.content.price_per != asked.price.per())
                {
                    return Err(DeskError::malformed(
                        "agreed_price.price.per",
                        format!(
                            "the price list in force then is per {}",
                            list.content.price_per.symbol()
                        ),
                    ));
                }
                let code = &asked.harvester;
                let rows = vec![register::row("agreed_price", asked.site, code, from_us)];
                let outcome = AgreedPrice {
                    from_us: Some(from_us),
                    ..asked.clone()
                };
                let plan = self.local(now_us, asked.site, asked, rows);
                Ok(Plan {
                    party: outcome.harvester.clone(),
                    outcome,
                    ..plan
                })
            },
        )
        .await
    }

    /// Agreed prices of a site, newest first; of one diver, or of all where it
    /// is empty. With each the entry that recorded it.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn agreed_prices(
        &self,
        caller: &Caller,
        site: i64,
        harvester: &str,
    ) -> Result<Vec<(i64, AgreedPrice)>, DeskError> {
        caller.may("agreed_prices")?;
        self.at_site(caller, site)?;
        caller.own(harvester)?;
        let office = self.fresh_office().await?;
        let mut agreed: Vec<(i64, AgreedPrice)> = office
            .agreed_prices
            .iter()
            .filter(|((s, code), _)| *s == site && (harvester.is_empty() || code == harvester))
            .flat_map(|(_, versions)| versions)
            .map(|Version { entry, content, .. }| (*entry, content.clone()))
            .collect();
        agreed.sort_by_key(|(entry, _)| std::cmp::Reverse(*entry));
        Ok(agreed)
    }

    /// Records which days a control chart is held against.
    ///
    /// # Errors
    /// An unknown site or party, or days that are not over.
    pub async fn record_baseline(
        &self,
        caller: &Caller,
        request_id: &str,
        baseline: Baseline,
    ) -> Result<Booked<Baseline, Baseline>, DeskError> {
        self.at_site(caller, baseline.site)?;
        self.deed(
            caller,
            "baseline",
            request_id,
            baseline,
            |asked| async move {
                let now_us = self.known_site("baseline.site", asked.site).await?;
                let office = self.office();
                if !office.parties.contains_key(&asked.party) {
                    return Err(DeskError::unknown("baseline.party", "party", &asked.party));
                }
                let clock = office.sites.get(&asked.site).map(|site| &site.clock);
                let today = clock.map_or(0, |clock| clock.day_of(now_us));
                if asked.to > today {
                    let not_over = BaselineNotOver {
                        last: day_before(asked.to).unwrap_or(asked.to),
                        today,
                    };
                    return Err(DeskError::malformed("baseline.to", not_over.to_string()));
                }
                let rows = vec![register::row("baseline", asked.site, &asked.party, now_us)];
                let outcome = asked.clone();
                Ok(Plan {
                    party: outcome.party.clone(),
                    outcome,
                    ..self.local(now_us, asked.site, asked, rows)
                })
            },
        )
        .await
    }

    /// Baselines of a site, newest first, with each the entry that recorded it.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn baselines(
        &self,
        caller: &Caller,
        site: i64,
    ) -> Result<Vec<(i64, Baseline)>, DeskError> {
        caller.may("baselines")?;
        self.at_site(caller, site)?;
        let office = self.fresh_office().await?;
        let versions = office.baselines.get(&site).map_or(&[][..], Vec::as_slice);
        Ok(versions
            .iter()
            .rev()
            .map(|Version { entry, content, .. }| (*entry, content.clone()))
            .collect())
    }

    /// The list as it would be posted now, if it can stand at all.
    pub(crate) fn standing_list(
        &self,
        asked: &PriceList,
        now_us: i64,
    ) -> Result<PriceList, DeskError> {
        let office = self.office();
        if !office.species.contains_key(&asked.species) {
            return Err(DeskError::unknown(
                "price_list.species",
                "species",
                &asked.species,
            ));
        }
        let currency = office.sites.get(&asked.site).map(|site| site.currency);
        // On the wire a list has no currency: it is the site's.
        let list = PriceList {
            effective_from_us: match asked.effective_from_us {
                IN_A_MINUTE => now_us.saturating_add(MINUTE_US),
                given => given,
            },
            ..asked.clone()
        };
        if currency.is_some_and(|currency| currency != list.currency) {
            return Err(DeskError::malformed(
                "price_list",
                "prices are in the site's money",
            ));
        }
        list.check().map_err(|e| DeskError::Malformed {
            field: format!("price_list.{}", e.field(&list)),
            reason: "PRICE_LIST_CANNOT_STAND",
            rule: e.to_string(),
        })?;
        Ok(list)
    }

    async fn checked_list(&self, asked: &PriceList, now_us: i64) -> Result<PriceList, DeskError> {
        let list = self.standing_list(asked, now_us)?;
        let mut tx = self.read().await?;
        let has_ticket = tickets::any_of_species(&mut tx, list.site, &list.species).await?;
        price_list::may_post(list.effective_from_us, now_us, has_ticket).map_err(|e| {
            DeskError::Malformed {
                field: "price_list.effective_from".to_owned(),
                reason: "PRICE_LIST_BACK_DATED",
                rule: e.to_string(),
            }
        })?;
        Ok(list)
    }

    /// Now, if the site is on file.
    pub(crate) async fn known_site(&self, field: &str, site: i64) -> Result<i64, DeskError> {
        if !self.office().sites.contains_key(&site) {
            // Another instance may have put it on file since.
            self.reload_office().await?;
        }
        if self.office().sites.contains_key(&site) {
            self.now_us().await
        } else {
            Err(DeskError::unknown(field, "site", &site.to_string()))
        }
    }

    fn every_site(&self) -> Vec<i64> {
        self.office().sites.keys().copied().collect()
    }

    /// What all sites share: site 0 and the UTC day.
    fn shared<T: Clone>(
        &self,
        now_us: i64,
        bumps: Vec<i64>,
        party: String,
        content: T,
        rows: Vec<books::Row>,
    ) -> Plan<T, T> {
        Plan {
            site: 0,
            day: utc_day(now_us),
            party,
            happened_us: now_us,
            must_hold: Vec::new(),
            bumps: [vec![0], bumps].concat(),
            asked: content.clone(),
            outcome: content,
            rows,
        }
    }

    /// What belongs to a site: its own day, decided on its epoch as read.
    pub(crate) fn local<T: Clone>(
        &self,
        now_us: i64,
        site: i64,
        content: T,
        rows: Vec<books::Row>,
    ) -> Plan<T, T> {
        Plan {
            site,
            day: self.day_at(site, now_us),
            party: String::new(),
            happened_us: now_us,
            must_hold: vec![Condition::Epoch {
                site,
                seen: self.office().epoch(site),
            }],
            bumps: vec![site],
            asked: content.clone(),
            outcome: content,
            rows,
        }
    }

    /// Every site on file, by number.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn sites(&self, caller: &Caller) -> Result<Vec<Site>, DeskError> {
        caller.may("sites")?;
        let office = self.fresh_office().await?;
        let reached = office
            .sites
            .values()
            .filter(|site| caller.reaches(&office, site.number));
        Ok(reached.cloned().collect())
    }

    /// Every party on file, by code.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn parties(&self, caller: &Caller) -> Result<Vec<Party>, DeskError> {
        caller.may("parties")?;
        Ok(self
            .fresh_office()
            .await?
            .parties
            .values()
            .filter(|party| caller.is_own(&party.code))
            .cloned()
            .collect())
    }

    /// Every species on file, by code.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn species(&self, caller: &Caller) -> Result<Vec<Species>, DeskError> {
        caller.may("species_list")?;
        Ok(self
            .fresh_office()
            .await?
            .species
            .values()
            .cloned()
            .collect())
    }

    /// Every scale of a site, by code.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn scales(&self, caller: &Caller, site: i64) -> Result<Vec<Scale>, DeskError> {
        caller.may("scales")?;
        self.at_site(caller, site)?;
        Ok(self
            .fresh_office()
            .await?
            .scales
            .values()
            .filter(|scale| scale.site == site)
            .cloned()
            .collect())
    }

    /// Every named tote of a site, by code.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn totes(&self, caller: &Caller, site: i64) -> Result<Vec<Tote>, DeskError> {
        caller.may("totes")?;
        self.at_site(caller, site)?;
        Ok(self
            .fresh_office()
            .await?
            .totes
            .values()
            .filter(|tote| tote.site == site)
            .cloned()
            .collect())
    }

    /// Every device of a site, by code.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn devices(&self, caller: &Caller, site: i64) -> Result<Vec<Device>, DeskError> {
        caller.may("devices")?;
        self.at_site(caller, site)?;
        Ok(self
            .fresh_office()
            .await?
            .devices
            .values()
            .filter(|device| device.site == site)
            .cloned()
            .collect())
    }

    /// Price lists of a site, newest posting first; of one species, or of all
    /// where it is empty. With each the entry that posted it.
    ///
    /// # Errors
    /// The book cannot be reached.
    pub async fn price_lists(
        &self,
        caller: &Caller,
        site: i64,
        species: &str,
    ) -> Result<Vec<(i64, PriceList)>, DeskError> {
        caller.may("price_lists")?;
        self.at_site(caller, site)?;
        let office = self.fresh_office().await?;
        let mut lists: Vec<(i64, PriceList)> = office
            .price_lists
            .iter()
            .filter(|((s, code), _)| *s == site && (species.is_empty() || code == species))
            .flat_map(|(_, versions)| versions)
            .map(|Version { entry, content, .. }| (*entry, content.clone()))
            .collect();
        lists.sort_by_key(|(entry, _)| std::cmp::Reverse(*entry));
        Ok(lists)
    }

    /// A site's settings as recorded, in force at an instant; now where there
    /// is none.
    ///
    /// # Errors
    /// An unknown site.
    pub async fn settings(
        &self,
        caller: &Caller,
        site: i64,
        at_us: Option<i64>,
    ) -> Result<Settings, DeskError> {
        caller.may("settings_read")?;
        self.at_site(caller, site)?;
        let now_us = self.known_site("site", site).await?;
        Ok(self
            .fresh_office()
            .await?
            .settings_at(site, at_us.unwrap_or(now_us))
            .1)
    }

    /// What is on file, with what another instance may have added to it since.
    pub(crate) async fn fresh_office(&self) -> Result<Arc<Office>, DeskError> {
        self.keep_up().await?;
        Ok(self.office())
    }
}
