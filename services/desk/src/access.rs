//! Who may do what.
//!
//! One table, [`TABLE`], says how far each role reaches with each act; an act that is
//! not in it is refused to everybody. `own` is narrowed by the act itself: a diver
//! reaches their own tickets and money, a kitchen its own cuts and the fish it got. A
//! caller whose key names a buyer reaches that buyer's sites and no other.
//!
//! A refusal is the same whether or not the thing asked for exists.

use books::register::Office;
use rules::ids::{EntryId, LotCode};
use rules::key::Role;

use crate::{Caller, Desk, DeskError};

/// How far a role reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Refused.
    No,
    /// What belongs to the caller's party.
    Own,
    /// Everything at the caller's sites.
    All,
}

impl Reach {
    /// As printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Reach::No => "-",
            Reach::Own => "own",
            Reach::All => "yes",
        }
    }
}

/// An act, what it is in words, and how far each of [`ROLES`] reaches with it.
pub type Act = (&'static str, &'static str, [Reach; 5]);

/// The columns of [`TABLE`].
pub const ROLES: [Role; 5] = [
    Role::Buyer,
    Role::Diver,
    Role::Kitchen,
    Role::Office,
    Role::Auditor,
];

const NO: Reach = Reach::No;
const OWN: Reach = Reach::Own;
const YES: Reach = Reach::All;

/// What each role may do.
#[rustfmt::skip]
pub const TABLE: &[Act] = &[
    // act                what it is                             buyer diver kitchen office auditor
    ("weigh_in",          "weigh fish in, write a ticket again", [YES,  NO,   NO,     YES,   NO]),
    ("void",              "void a ticket",                       [YES,  NO,   NO,     YES,   NO]),
    ("device_word",       "say what a device has queued",        [YES,  NO,   NO,     YES,   NO]),
    ("codes",             "ask for lot numbers ahead",           [YES,  NO,   NO,     YES,   NO]),
    ("browser",           "have a browser keep entries",         [YES,  NO,   NO,     YES,   NO]),
    ("reprobe",           "probe fish again",                    [YES,  NO,   NO,     YES,   NO]),
    ("reweigh",           "weigh fish again",                    [YES,  NO,   NO,     YES,   NO]),
    ("hold",              "set fish aside",                      [YES,  NO,   NO,     YES,   NO]),
    ("release",           "release held fish",                   [YES,  NO,   NO,     YES,   NO]),
    ("regrade",           "regrade fish",                        [YES,  NO,   NO,     YES,   NO]),
    ("movement",          "send fish out",                       [YES,  NO,   NO,     YES,   NO]),
    ("return",            "take fish back",                      [YES,  NO,   NO,     YES,   NO]),
    ("making",            "cut, dress, pool or freeze fish",     [YES,  NO,   OWN,    YES,   NO]),
    ("count",             "count what is on ice",                [YES,  NO,   NO,     YES,   NO]),
    ("ticket",            "see a ticket",                        [YES,  OWN,  NO,     YES,   YES]),
    ("tickets",           "list tickets",                        [YES,  OWN,  NO,     YES,   YES]),
    ("lot",               "see what became of a lot",            [YES,  NO,   OWN,    YES,   YES]),
    ("receiving_log",     "see the receiving log",               [YES,  NO,   NO,     YES,   YES]),
    ("landings",          "see landings and tallies",            [YES,  NO,   NO,     YES,   YES]),
    ("yields",            "see yields",                          [YES,  OWN,  OWN,    YES,   YES]),
    ("answer_yield",      "answer what is told of a yield",      [NO,   OWN,  NO,     YES,   NO]),
    ("small_fish",        "weigh cutting against soup",          [YES,  NO,   NO,     YES,   YES]),
    ("close",             "see a close",                         [YES,  NO,   NO,     YES,   YES]),
    ("flags",             "list flags",                          [YES,  NO,   NO,     YES,   YES]),
    ("acknowledge",       "see to a flag",                       [YES,  NO,   NO,     YES,   NO]),
    ("settle",            "settle with a payee",                 [YES,  NO,   NO,     YES,   NO]),
    ("preview_settlement", "see what a settlement would pay",    [YES,  OWN,  NO,     YES,   YES]),
    ("advance",           "hand over an advance",                [YES,  NO,   NO,     YES,   NO]),
    ("charge",            "agree a deduction",                   [YES,  NO,   NO,     YES,   NO]),
    ("take_back",         "take back an advance or deduction",   [YES,  NO,   NO,     YES,   NO]),
    ("drawer",            "count the drawer",                    [YES,  NO,   NO,     YES,   NO]),
    ("drawer_day",        "see a count of the drawer",           [YES,  NO,   NO,     YES,   YES]),
    ("cash_year",         "see the cash of a year",              [YES,  OWN,  NO,     YES,   YES]),
    ("statement",         "see a statement",                     [YES,  OWN,  NO,     YES,   YES]),
    ("dispute",           "dispute a ticket",                    [YES,  OWN,  NO,     YES,   NO]),
    ("answer",            "answer a dispute",                    [YES,  NO,   NO,     YES,   NO]),
    ("site",              "put a site on file",                  [NO,   NO,   NO,     YES,   NO]),
    ("party",             "put a party on file",                 [NO,   NO,   NO,     YES,   NO]),
    ("species",           "put a species on file",               [NO,   NO,   NO,     YES,   NO]),
    ("scale",             "put a scale on file",                 [NO,   NO,   NO,     YES,   NO]),
    ("tote",              "put a tote's tare on file",           [YES,  NO,   NO,     YES,   NO]),
    ("device",            "put a device on file",                [NO,   NO,   NO,     YES,   NO]),
    ("settings",          "change a site's settings",            [NO,   NO,   NO,     YES,   NO]),
    ("price_list",        "post a price list",                   [NO,   NO,   NO,     YES,   NO]),
    ("agreed_price",      "agree a price with a diver",          [NO,   NO,   NO,     YES,   NO]),
    ("baseline",          "set a baseline",                      [NO,   NO,   NO,     YES,   NO]),
    ("room",              "put a room for small fish on file",   [YES,  NO,   NO,     YES,   NO]),
    ("choice",            "pin small fish to a room",            [YES,  NO,   NO,     YES,   NO]),
    ("plan",              "take a plan for small fish",          [YES,  NO,   NO,     YES,   NO]),
    ("rooms",             "list rooms for small fish",           [YES,  NO,   NO,     YES,   YES]),
    ("propose_plan",      "see where small fish goes",           [YES,  NO,   NO,     YES,   YES]),
    ("dispatch_note",     "see what travels with fish",          [YES,  NO,   OWN,    YES,   YES]),
    ("check_price_list",  "try a price list",                    [YES,  NO,   NO,     YES,   NO]),
    ("sites",             "list sites",                          [YES,  YES,  YES,    YES,   YES]),
    ("species_list",      "list species",                        [YES,  YES,  YES,    YES,   YES]),
    ("parties",           "list parties",                        [YES,  OWN,  OWN,    YES,   YES]),
    ("scales",            "list scales",                         [YES,  NO,   NO,     YES,   YES]),
    ("totes",             "list totes",                          [YES,  NO,   NO,     YES,   YES]),
    ("devices",           "list devices",                        [YES,  NO,   NO,     YES,   YES]),
    ("settings_read",     "see a site's settings",               [YES,  NO,   NO,     YES,   YES]),
    ("price_lists",       "see price lists",                     [YES,  YES,  NO,     YES,   YES]),
    ("agreed_prices",     "see agreed prices",                   [YES,  OWN,  NO,     YES,   YES]),
    ("baselines",         "see baselines",                       [YES,  NO,   NO,     YES,   YES]),
    ("clock",             "see the book's clock",                [YES,  YES,  YES,    YES,   YES]),
    ("set_clock",         "set a simulated clock",               [NO,   NO,   NO,     YES,   NO]),
    ("key",               "give out a key",                      [NO,   NO,   NO,     YES,   NO]),
    ("revoke",            "revoke a key",                        [NO,   NO,   NO,     YES,   NO]),
    ("link",              "give out a sign-in link",             [NO,   NO,   NO,     YES,   NO]),
    ("keys",              "list keys",                           [NO,   NO,   NO,     YES,   YES]),
    ("entries",           "read what was done",                  [NO,   NO,   NO,     YES,   YES]),
    ("refusals",          "read what was refused",               [NO,   NO,   NO,     YES,   YES]),
];

/// How far a role reaches with an act: not at all with one that is not in the table.
#[must_use]
pub fn reach(role: Role, act: &str) -> Reach {
    let row = TABLE.iter().find(|(name, ..)| *name == act);
    let column = ROLES.iter().position(|of| *of == role);
    match (row, column) {
        (Some((_, _, reaches)), Some(column)) => reaches[column],
        _ => Reach::No,
    }
}

impl Caller {
    /// How far the caller reaches with an act.
    ///
    /// # Errors
    /// [`DeskError::Denied`] when not at all.
    pub(crate) fn may(&self, act: &str) -> Result<Reach, DeskError> {
        match reach(self.role, act) {
            Reach::No => Err(DeskError::Denied),
            reach => Ok(reach),
        }
    }

    /// Whether a party's things are the caller's to see: everybody's, for those who
    /// see all.
    pub(crate) fn is_own(&self, party: &str) -> bool {
        !self.role.is_own_only() || self.party == party
    }

    /// Refuses what belongs to another party.
    pub(crate) fn own(&self, party: &str) -> Result<(), DeskError> {
        if self.is_own(party) {
            Ok(())
        } else {
            Err(DeskError::Denied)
        }
    }

    /// What a look-up says that finds nothing: those who see what is their own get
    /// the same answer for what is another's.
    pub(crate) fn not_found(&self, what: &'static str, id: String) -> DeskError {
        if self.role.is_own_only() {
            DeskError::Denied
        } else {
            DeskError::NotFound { what, id }
        }
    }

    /// Whether the caller's key names a buyer, whose sites are all it reaches.
    pub(crate) fn is_bound(&self) -> bool {
        !self.role.is_own_only() && !self.party.is_empty()
    }

    pub(crate) fn reaches(&self, office: &Office, site: i64) -> bool {
        let is_buyers = |site: &rules::office::Site| site.buyer == self.party;
        !self.is_bound() || office.sites.get(&site).is_some_and(is_buyers)
    }
}

impl Desk {
    /// Refuses a site that is not the caller's, whether or not it is on file. Site 0 is
    /// what all share.
    pub(crate) fn at_site(&self, caller: &Caller, site: i64) -> Result<(), DeskError> {
        if site == 0 || caller.reaches(&self.office(), site) {
            Ok(())
        } else {
            Err(DeskError::Denied)
        }
    }

    /// Refuses an act that is not the caller's at all, or not at this site.
    ///
    /// # Errors
    /// [`DeskError::Denied`].
    pub fn may_at(&self, caller: &Caller, act: &str, site: i64) -> Result<(), DeskError> {
        caller.may(act)?;
        self.at_site(caller, site)
    }

    /// The same of an entry, by the site in its id.
    pub(crate) fn at_entry(&self, caller: &Caller, id: i64) -> Result<(), DeskError> {
        match EntryId::new(id) {
            Some(id) => self.at_site(caller, id.site()),
            None if caller.is_bound() => Err(DeskError::Denied),
            None => Ok(()),
        }
    }

    /// The same of a lot, by the site in its code.
    pub(crate) fn at_lot(&self, caller: &Caller, lot: LotCode) -> Result<(), DeskError> {
        self.at_entry(caller, lot.number())
    }

    /// The same of everything a deed names: its site, entries and lots. A deed asks
    /// this before it looks anything up, so that no other refusal tells what is there.
    pub(crate) fn at_all(
        &self,
        caller: &Caller,
        site: i64,
        entries: impl IntoIterator<Item = i64>,
        lots: impl IntoIterator<Item = LotCode>,
    ) -> Result<(), DeskError> {
        self.at_site(caller, site)?;
        for entry in entries {
            self.at_entry(caller, entry)?;
        }
        for lot in lots {
            self.at_lot(caller, lot)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_in_the_table_is_refused_to_everybody() {
        for role in ROLES {
            assert_eq!(reach(role, "burn_the_book"), Reach::No);
            assert_eq!(reach(role, ""), Reach::No);
        }
    }

    #[test]
    fn each_act_stands_once_and_each_role_has_its_column() {
        let mut names: Vec<_> = TABLE.iter().map(|(name, ..)| *name).collect();
        names.sort_unstable();
        let all = names.len();
        names.dedup();
        assert_eq!(names.len(), all);
        assert_eq!(reach(Role::Auditor, "weigh_in"), Reach::No);
        assert_eq!(reach(Role::Buyer, "weigh_in"), Reach::All);
        assert_eq!(reach(Role::Diver, "ticket"), Reach::Own);
        assert_eq!(reach(Role::Kitchen, "making"), Reach::Own);
        assert_eq!(reach(Role::Kitchen, "price_lists"), Reach::No, "rule 5.5");
    }

    #[test]
    fn only_those_who_see_what_is_their_own_reach_so_far() {
        for (name, _, reaches) in TABLE {
            for (role, reach) in ROLES.iter().zip(reaches) {
                assert!(
                    *reach != Reach::Own || role.is_own_only(),
                    "{name} {role:?}"
                );
            }
        }
    }
}
