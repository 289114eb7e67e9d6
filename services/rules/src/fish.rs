//! What fish is: its presentation, condition, storage and hazards.

/// Declares an enum with a stable number (in tables) and word (in documents).
macro_rules! coded {
    ($(#[$meta:meta])* $name:ident { $($(#[$vmeta:meta])* $variant:ident = $number:literal $word:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vmeta])* $variant),+ }

        impl $name {
            /// Every one, in order of number.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// Number in tables.
            #[must_use]
            pub const fn number(self) -> i64 {
                match self { $($name::$variant => $number),+ }
            }

            /// Word in documents, the trade's.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }

            /// By its number.
            #[must_use]
            pub fn from_number(number: i64) -> Option<$name> {
                match number { $($number => Some($name::$variant),)+ _ => None }
            }

            /// By its word.
            #[must_use]
            pub fn from_word(word: &str) -> Option<$name> {
                match word { $($word => Some($name::$variant),)+ _ => None }
            }
        }
    };
}
pub(crate) use coded;

coded! {
    /// The form the fish is in.
    Presentation {
        /// As it came out of the water.
        Whole = 1 "whole",
        /// Whole, venomous spines cut off.
        SpinesClipped = 2 "spines clipped",
        /// Gut out.
        Gutted = 3 "gutted",
        /// Gut out, head off.
        GuttedHeaded = 4 "gutted and headed",
        /// Fillet with its skin.
        FilletSkinOn = 5 "fillet skin-on",
        /// Fillet without skin.
        FilletSkinless = 6 "fillet skinless",
        /// Edible trim.
        Trim = 7 "trim",
        /// Frames.
        Frames = 8 "frames",
        /// Roe.
        Roe = 9 "roe",
        /// Any other by-product.
        Other = 10 "other",
    }
}

impl Presentation {
    /// Whether this is fillet: what yield counts as out.
    #[must_use]
    pub const fn is_fillet(self) -> bool {
        matches!(
            self,
            Presentation::FilletSkinOn | Presentation::FilletSkinless
        )
    }

    /// Whether this is one fish a piece, whole or dressed: what a plate minimum
    /// can be about.
    #[must_use]
    pub const fn is_fish(self) -> bool {
        matches!(
            self,
            Presentation::Whole
                | Presentation::SpinesClipped
                | Presentation::Gutted
                | Presentation::GuttedHeaded
        )
    }
}

coded! {
    /// Where the spear went. 0 in tables means none (fillet, pool).
    Condition {
        /// Head or gill shot.
        Clean = 1 "clean",
        /// One side holed.
        Body = 2 "body",
        /// Both sides holed or the gut opened: cut the same day, not donated.
        Torn = 3 "torn",
    }
}

coded! {
    /// How fish is kept. 0 in tables means not said.
    Storage {
        /// On ice that drains.
        DrainedIce = 1 "drained ice",
        /// In a cooler without ice on it.
        DryCooler = 2 "dry cooler",
        /// In ice and water.
        Slush = 3 "slush",
        /// Frozen.
        Frozen = 4 "frozen",
    }
}

coded! {
    /// What can hurt someone.
    Hazard {
        /// Spines that stay venomous after death.
        Venomous = 1 "venomous",
        /// May carry ciguatoxin, which cooking does not remove.
        Ciguatera = 2 "ciguatera",
        /// Makes histamine when warm.
        Histamine = 3 "histamine",
    }
}

coded! {
    /// Where weight can go.
    Outlet {
        /// Sold whole.
        SoldWhole = 1 "sold whole",
        /// To a soup pot.
        Soup = 2 "soup-grade",
        /// To a nonprofit.
        Donation = 3 "donation",
        /// To a friend or restaurant, for nothing.
        Gift = 4 "gift",
        /// Eaten by the crew.
        CrewUse = 5 "crew use",
        /// By-product, bait or compost.
        ByProduct = 6 "by-product",
        /// Thrown out, with a reason.
        Discard = 7 "discard",
        /// Taken as a sample.
        Sample = 8 "sample",
    }
}

impl Outlet {
    /// Whether somebody will eat it.
    #[must_use]
    pub const fn is_food(self) -> bool {
        matches!(
            self,
            Outlet::SoldWhole | Outlet::Soup | Outlet::Donation | Outlet::Gift | Outlet::CrewUse
        )
    }

    /// Whether a party receives it and must be named.
    #[must_use]
    pub const fn has_receiver(self) -> bool {
        matches!(
            self,
            Outlet::SoldWhole | Outlet::Soup | Outlet::Donation | Outlet::Gift
        )
    }
}

coded! {
    /// Whether fish is below the plate minimum, by weight and nothing else.
    Undersize {
        /// At or above it.
        No = 0 "no",
        /// Below it.
        Yes = 1 "yes",
        /// Not counted, so the piece weight is not known.
        NotKnown = 2 "not known",
    }
}

/// A grade: 1 to 8 of A-Z and 0-9. `0` means none (fillet, pool).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grade(String);

impl Grade {
    /// Reads a grade; `None` where it cannot be one.
    #[must_use]
    pub fn new(text: &str) -> Option<Grade> {
        let sound = (1..=8).contains(&text.len())
            && text
                .bytes()
                .all(|b| b.is_ascii_uppercase() || b.is_ascii_digit());
        sound.then(|| Grade(text.to_owned()))
    }

    /// No grade.
    #[must_use]
    pub fn none() -> Grade {
        Grade("0".to_owned())
    }

    /// Its letters.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.0 == "0"
    }
}

/// What makes fish of one lot alike; unique in a lot.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PartKey {
    /// Number of the band from 1; 0 is none, or not counted.
    pub band: i64,
    /// Quality grade.
    pub grade: Grade,
    /// Shot condition, where fish has one.
    pub condition: Option<Condition>,
    /// Set aside.
    pub held: bool,
}
