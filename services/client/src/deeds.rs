//! The deeds that have a command of their own, as one table.
//!
//! An entry says how the command is called, which deed of the contract it is, and
//! what a person types for each field. Everything else is the same for all: the
//! words become the deed's canonical JSON, the deed is sent by its method, and
//! the answer is told. So a new deed is one new entry here.

mod toml;
mod value;

use clap::builder::PossibleValuesParser;
use clap::{Arg, ArgAction, ArgMatches, Args as _, FromArgMatches, Subcommand};
use proto::v1;
use serde_json::{Map, Value, json};

use crate::deeds::value::{Reading, Takes, put};
use crate::trouble::Trouble;
use crate::{Reach, json, show, ticket, week};

/// A command that books one deed.
#[derive(Debug)]
struct Entry {
    /// What a person types.
    name: &'static str,
    /// What it does, in one line.
    about: &'static str,
    /// The deed's name in `weighhouse.v1.Deed`, as JSON writes it.
    deed: &'static str,
    /// Where the contents of `--file` stand in the request; empty is the request
    /// itself.
    file: &'static str,
    /// What the command has decided already: path, and word of the contract.
    fixed: &'static [(&'static str, &'static str)],
    /// What a person types for the fields.
    flags: &'static [Flag],
    /// One that parses.
    example: &'static str,
}

/// A flag of a command.
#[derive(Debug)]
struct Flag {
    /// Without the dashes.
    long: &'static str,
    /// Path of the field in the request, as JSON writes it.
    path: &'static str,
    /// What is typed.
    takes: Takes,
    /// Whether it must be typed.
    must: bool,
    /// Whether it may be typed several times.
    many: bool,
    /// One line.
    help: &'static str,
}

const fn must(long: &'static str, path: &'static str, takes: Takes, help: &'static str) -> Flag {
    Flag {
        long,
        path,
        takes,
        must: true,
        many: false,
        help,
    }
}

const fn may(long: &'static str, path: &'static str, takes: Takes, help: &'static str) -> Flag {
    Flag {
        must: false,
        ..must(long, path, takes, help)
    }
}

const fn each(long: &'static str, path: &'static str, takes: Takes, help: &'static str) -> Flag {
    Flag {
        many: true,
        ..may(long, path, takes, help)
    }
}

const SITE: Flag = must("site", "site", Takes::Number, "Number of the site");
const PART: Flag = must("part", "part", Takes::Part, "The part, as LOT or LOT/PART");
const WHEN: Flag = may(
    "at",
    "happenedAt",
    Takes::Instant,
    "When it happened, with its offset; now when left out",
);
const WHY: Flag = must("reason", "reason", Takes::Text, "Why");
const PLAN_LINE: Flag = may(
    "plan-line",
    "planLine",
    Takes::Text,
    "Line of a plan it carries out: the plan's id, a dash, the line's number",
);
const FROM_PARTS: Flag = each(
    "from",
    "inputs",
    Takes::Input,
    "What went in: LOT/PART:WEIGHT, and :emptied where nothing is left",
);
const INTO_LOT: Flag = each(
    "into",
    "outputs",
    Takes::Output,
    "A new lot that came out, FORM:WEIGHT, and :STORAGE where it is kept",
);
const THROWN_OUT: Flag = each(
    "thrown-out",
    "outputs",
    Takes::ThrownOut,
    "What was thrown out at the table, FORM:WEIGHT:REASON",
);
const NOT_WEIGHED: Flag = each(
    "not-weighed",
    "outputs",
    Takes::NotWeighed,
    "A form that left the table without being weighed",
);
const CUTTER: Flag = may("cutter", "cutter", Takes::Text, "Party that cut");
const SPECIFICATION: Flag = may(
    "specification",
    "specification",
    Takes::Text,
    "Code of the cut specification",
);
const MINUTES: Flag = may("minutes", "minutes", Takes::Text, "Minutes at the table");

const ENTRIES: &[Entry] = &[
    Entry {
        name: "void",
        about: "Void a ticket from which no weight has moved",
        deed: "voidTicket",
        file: "",
        fixed: &[],
        flags: &[
            must(
                "ticket",
                "ticket",
                Takes::Text,
                "Id of the ticket, 19 digits",
            ),
            WHY,
        ],
        example: "void --ticket 2031050200010000003 --reason \"wrong diver\"",
    },
    Entry {
        name: "take-back",
        about: "Take back an advance or a charge that no settlement took up",
        deed: "takeBack",
        file: "",
        fixed: &[],
        flags: &[
            must(
                "entry",
                "entry",
                Takes::Text,
                "Entry id of the advance or charge, 19 digits",
            ),
            WHY,
        ],
        example: "take-back --entry 2031050200010000012 --reason \"charged to the wrong diver\"",
    },
    Entry {
        name: "hold",
        about: "Set weight of a part aside; its share of the pay is not owed meanwhile",
        deed: "hold",
        file: "",
        fixed: &[],
        flags: &[
            PART,
            may(
                "weight",
                "weight",
                Takes::Weight,
                "How much; all when left out",
            ),
            WHY,
            WHEN,
        ],
        example: "hold --part 20310502000100000031/1 --weight 4.10 --reason \"smells of fuel\"",
    },
    Entry {
        name: "release",
        about: "Give back exactly what a hold took",
        deed: "release",
        file: "",
        fixed: &[],
        flags: &[
            must("hold", "holdId", Takes::Text, "Id of the hold"),
            WHY,
            WHEN,
        ],
        example: "release --hold 2031050200010000004 --reason \"38 F at three probes\"",
    },
    Entry {
        name: "regrade",
        about: "Move weight to another grade or condition; never pay",
        deed: "regrade",
        file: "",
        fixed: &[],
        flags: &[
            PART,
            may(
                "weight",
                "weight",
                Takes::Weight,
                "How much; all when left out",
            ),
            may(
                "grade",
                "grade",
                Takes::Text,
                "The new grade; as before when left out",
            ),
            may(
                "condition",
                "condition",
                Takes::Word("Condition"),
                "Where the spear went; as before when left out",
            ),
            WHY,
            WHEN,
        ],
        example: "regrade --part 20310502000100000031/1 --grade B --reason \"soft belly\"",
    },
    Entry {
        name: "move",
        about: "Book weight leaving: sold whole, soup, donation, gift, discard and so on",
        deed: "movement",
        file: "",
        fixed: &[],
        flags: &[
            SITE,
            must("outlet", "outlet", Takes::Word("Outlet"), "Where it goes"),
            Flag {
                must: true,
                ..each(
                    "take",
                    "taken",
                    Takes::Taken,
                    "What leaves: LOT/PART:WEIGHT, and :emptied where nothing is left",
                )
            },
            may("to", "counterparty", Takes::Text, "Party that receives it"),
            may("reason", "reason", Takes::Text, "Why it is thrown out"),
            may(
                "cause",
                "cause",
                Takes::Word("DiscardCause"),
                "Of held fish thrown out: after hand-over its pay stands, the buyer's loss",
            ),
            may(
                "temperature",
                "temperature",
                Takes::Degrees,
                "Temperature as it leaves, such as 38.5F or 3.1C",
            ),
            may(
                "price",
                "price",
                Takes::Price,
                "What was charged, such as 9.50USD/lb",
            ),
            PLAN_LINE,
            WHEN,
        ],
        example: "move --site 1 --outlet sold-whole --to hill-kitchen \
                  --take 20310502000100000031/1:12.40 --temperature 38.5F",
    },
    Entry {
        name: "bring-back",
        about: "Book fish that a customer brought back; it is held",
        deed: "customerReturn",
        file: "",
        fixed: &[],
        flags: &[
            must(
                "movement",
                "movement",
                Takes::Text,
                "Entry id of the movement it came back from",
            ),
            PART,
            must("weight", "weight", Takes::Weight, "How much"),
            WHY,
            may(
                "temperature",
                "temperature",
                Takes::Degrees,
                "Temperature as it came back, such as 38.5F or 3.1C",
            ),
            WHEN,
        ],
        example: "bring-back --movement 2031050200010000008 --part 20310502000100000031/1 \
                  --weight 3.20 --reason \"arrived warm\" --temperature 47F",
    },
    Entry {
        name: "cut",
        about: "Book a cut at the own fillet table",
        deed: "making",
        file: "",
        fixed: &[("kind", "MAKING_KIND_CUT")],
        flags: &[
            SITE,
            FROM_PARTS,
            INTO_LOT,
            THROWN_OUT,
            NOT_WEIGHED,
            CUTTER,
            SPECIFICATION,
            MINUTES,
            PLAN_LINE,
            WHEN,
        ],
        example: "cut --site 1 --from 20310502000100000031/1:20.00 \
                  --into fillet-skinless:6.20:drained-ice --thrown-out frames:13.10:frames \
                  --cutter table-1 --specification skinless-pinbone-out --minutes 35",
    },
    Entry {
        name: "dress",
        about: "Book fish that was gutted, or gutted and headed",
        deed: "making",
        file: "",
        fixed: &[("kind", "MAKING_KIND_DRESS")],
        flags: &[
            SITE,
            FROM_PARTS,
            INTO_LOT,
            THROWN_OUT,
            NOT_WEIGHED,
            CUTTER,
            SPECIFICATION,
            MINUTES,
            WHEN,
        ],
        example: "dress --site 1 --from 20310502000100000031/2:10.00 \
                  --into gutted-headed:6.80:drained-ice --thrown-out other:3.00:heads \
                  --cutter table-1",
    },
    Entry {
        name: "pool",
        about: "Throw all of several parts into one bin, a new lot",
        deed: "making",
        file: "",
        fixed: &[("kind", "MAKING_KIND_POOL")],
        flags: &[
            SITE,
            Flag {
                must: true,
                ..each(
                    "from",
                    "inputs",
                    Takes::Input,
                    "A part, LOT/PART; all that is left of it",
                )
            },
            Flag {
                must: true,
                ..may(
                    "into",
                    "outputs",
                    Takes::Output,
                    "The bin: FORM, and ::STORAGE where it is kept",
                )
            },
            WHEN,
        ],
        example: "pool --site 1 --from 20310502000100000031/2 --from 20310502000100000041/2 \
                  --into whole::drained-ice",
    },
    Entry {
        name: "freeze",
        about: "Book fish that went into the freezer",
        deed: "making",
        file: "",
        fixed: &[("kind", "MAKING_KIND_FREEZE")],
        flags: &[SITE, FROM_PARTS, INTO_LOT, THROWN_OUT, PLAN_LINE, WHEN],
        example: "freeze --site 1 --from 20310502000100000031/2:10.00 --into whole:10.00:frozen",
    },
    Entry {
        name: "kitchen-cut",
        about: "Book a cut at a customer's kitchen: yield only, no weight of this book moves",
        deed: "making",
        file: "",
        fixed: &[("kind", "MAKING_KIND_CUSTOMER_CUT")],
        flags: &[
            SITE,
            must(
                "kitchen",
                "kitchen",
                Takes::Text,
                "Party whose kitchen it is",
            ),
            Flag {
                must: true,
                ..each(
                    "dispatch",
                    "inputs",
                    Takes::Dispatch,
                    "What they cut from: ENTRY:WEIGHT of the movement that brought it",
                )
            },
            INTO_LOT,
            THROWN_OUT,
            NOT_WEIGHED,
            CUTTER,
            SPECIFICATION,
            WHEN,
        ],
        example: "kitchen-cut --site 1 --kitchen hill-kitchen --dispatch 2031050200010000008:12.00 \
                  --into fillet-skinless:3.60",
    },
    Entry {
        name: "count",
        about: "Book what was still on ice, weighed at close",
        deed: "count",
        file: "",
        fixed: &[],
        flags: &[
            SITE,
            must("closes", "closes", Takes::Day, "The business day it closes"),
            each(
                "found",
                "counted",
                Takes::Counted,
                "What was found: LOT/PART:WEIGHT; 0 means emptied",
            ),
            each(
                "bin",
                "pool.parts",
                Takes::Part,
                "A part that lies in one bin with others: they are pooled, and the bin counted",
            ),
            may(
                "bin-weight",
                "pool.weight",
                Takes::Weight,
                "Weight of the bin",
            ),
            may(
                "bin-storage",
                "pool.storage",
                Takes::Word("Storage"),
                "How the bin is kept",
            ),
            WHEN,
        ],
        example: "count --site 1 --closes 2031-05-02 --found 20310502000100000031/1:38.60 \
                  --found 20310502000100000031/2:0",
    },
    Entry {
        name: "reweigh",
        about: "Book what a second weighing showed; no weight moves by it",
        deed: "reweigh",
        file: "",
        fixed: &[],
        flags: &[
            SITE,
            may(
                "part",
                "part",
                Takes::Part,
                "The part as it stands now, as LOT or LOT/PART",
            ),
            may(
                "ticket",
                "weighing.ticket",
                Takes::Text,
                "Ticket whose weighing is checked",
            ),
            may(
                "lot-n",
                "weighing.lot",
                Takes::Number,
                "Lot of that ticket, from 1",
            ),
            may(
                "weighing-n",
                "weighing.weighing",
                Takes::Number,
                "Weighing of that lot, from 1",
            ),
            must(
                "weight",
                "reading",
                Takes::Weight,
                "The fish alone, without the tote",
            ),
            may("note", "note", Takes::Text, "Note"),
            WHEN,
        ],
        example: "reweigh --site 1 --part 20310502000100000031/1 --weight 38.60 --read-on dock",
    },
    Entry {
        name: "reprobe",
        about: "Record that fish of a lot was probed again",
        deed: "reprobe",
        file: "",
        fixed: &[],
        flags: &[
            must("lot", "lotCode", Takes::Text, "Lot code, 20 characters"),
            Flag {
                must: true,
                ..each(
                    "probe",
                    "probes",
                    Takes::Degrees,
                    "Temperature of a fish, such as 38.5F or 3.1C; the warmest decides",
                )
            },
            may(
                "ice-around",
                "iceAround",
                Takes::YesOrNo,
                "Whether ice was around the fish: yes or no",
            ),
            may("note", "note", Takes::Text, "Note"),
            WHEN,
        ],
        example: "reprobe --lot 20310502000100000031 --probe 38.5F --probe 39.0F --ice-around yes",
    },
    Entry {
        name: "request-codes",
        about: "Ask ahead for lot numbers that a device will give without signal",
        deed: "requestCodes",
        file: "",
        fixed: &[],
        flags: &[
            SITE,
            must("device", "device", Takes::Text, "Code of the device"),
            must("count", "count", Takes::Number, "How many, 1 to 1000"),
        ],
        example: "request-codes --site 1 --device tablet-1 --count 50",
    },
    Entry {
        name: "set-baseline",
        about: "Say which days of cuts a control chart is held against",
        deed: "baseline",
        file: "baseline",
        fixed: &[],
        flags: &[
            must("site", "baseline.site", Takes::Number, "Number of the site"),
            must(
                "follows",
                "baseline.follows",
                Takes::Word("Follows"),
                "Whose yield it follows: supplier, cutter or kitchen",
            ),
            must("party", "baseline.party", Takes::Text, "Party code"),
            must("from", "baseline.from", Takes::Day, "First business day"),
            must("to", "baseline.to", Takes::Day, "The day after the last"),
            must("reason", "baseline.reason", Takes::Text, "Why these days"),
        ],
        example: "set-baseline --site 1 --follows cutter --party cutter-1 \
                  --from 2031-04-01 --to 2031-04-15 --reason \"two weeks in order\"",
    },
    Entry {
        name: "answer-yield",
        about: "Say, as a diver, what you know of a yield told of your fish; it stands beside it",
        deed: "answerYield",
        file: "",
        fixed: &[],
        flags: &[
            SITE,
            must(
                "supplier",
                "supplier",
                Takes::Text,
                "Party code of the diver",
            ),
            must(
                "species",
                "species",
                Takes::Text,
                "ASFIS code of the species",
            ),
            must("from", "from", Takes::Day, "First business day"),
            must("to", "to", Takes::Day, "The day after the last"),
            must("text", "text", Takes::Text, "What the diver says"),
        ],
        example: "answer-yield --site 1 --supplier wren-haldane --species PZO \
                  --from 2031-04-28 --to 2031-05-05 --text \"cut after two warm days\"",
    },
    Entry {
        name: "set-room",
        about: "Put a room for small fish on file: an order, a recipient, the freezer, the table",
        deed: "room",
        file: "room",
        fixed: &[],
        flags: &[
            must("site", "room.site", Takes::Number, "Number of the site"),
            must("code", "room.code", Takes::Text, "Its code"),
            must("name", "room.name", Takes::Text, "What people call it"),
            must(
                "kind",
                "room.kind",
                Takes::Word("RoomKind"),
                "What sort of room it is",
            ),
            may("to", "room.party", Takes::Text, "Party that takes the fish"),
            each(
                "species",
                "room.species",
                Takes::Text,
                "Species it takes; any when left out",
            ),
            each(
                "form",
                "room.presentations",
                Takes::Word("Presentation"),
                "Form it takes, such as gutted-headed",
            ),
            must(
                "weight",
                "room.weight",
                Takes::Weight,
                "How much, as handed over",
            ),
            may(
                "promised",
                "room.promised",
                Takes::Weight,
                "How much of it is promised",
            ),
            may(
                "price",
                "room.price",
                Takes::Price,
                "What it pays, such as 2.00USD/lb",
            ),
            may(
                "handling",
                "room.handling",
                Takes::Price,
                "What handling costs",
            ),
            may(
                "least",
                "room.leastDrop",
                Takes::Weight,
                "Least worth a drive",
            ),
            may(
                "from",
                "room.from",
                Takes::Instant,
                "From when, with its offset",
            ),
            may(
                "until",
                "room.until",
                Takes::Instant,
                "By when it is wanted",
            ),
            may(
                "standing",
                "room.standing",
                Takes::YesOrNo,
                "The same every day: yes or no",
            ),
            may(
                "keeps-cold",
                "room.keepsCold",
                Takes::YesOrNo,
                "A recipient keeps it cold until it is cooked: yes or no",
            ),
            may(
                "takes-spines",
                "room.takesSpines",
                Takes::YesOrNo,
                "A recipient takes venomous spines: yes or no",
            ),
            may(
                "piece-from",
                "room.pieceFrom",
                Takes::Weight,
                "Of a table: smallest fish",
            ),
            may(
                "piece-to",
                "room.pieceTo",
                Takes::Weight,
                "Of a table: fish below it",
            ),
            may(
                "specification",
                "room.specification",
                Takes::Text,
                "Of a table: the cut that its fillet is sold by",
            ),
            may(
                "oldest-hours",
                "room.oldestHours",
                Takes::Number,
                "Oldest fish it takes",
            ),
            may(
                "ended",
                "room.ended",
                Takes::YesOrNo,
                "Called off or fulfilled: yes or no",
            ),
        ],
        example: "set-room --site 1 --code parish-pantry --name \"Parish pantry\" --kind donation \
                  --to parish-pantry --form gutted-headed --weight 30 --standing yes \
                  --keeps-cold yes",
    },
    Entry {
        name: "pin",
        about: "Say that a part of small fish goes to a room, whatever a plan would do",
        deed: "choice",
        file: "",
        fixed: &[("choice.kind", "CHOICE_KIND_PIN")],
        flags: &[
            SITE,
            must("part", "choice.part", Takes::Part, "The part, as LOT/PART"),
            must("room", "choice.room", Takes::Text, "Code of the room"),
            may(
                "weight",
                "choice.weight",
                Takes::Weight,
                "How much; all when left out",
            ),
            must("reason", "choice.reason", Takes::Text, "Why"),
        ],
        example: "pin --site 1 --part 20310502000100000031/2 --room parish-pantry \
                  --weight 6.00 --reason \"they asked for it\"",
    },
    Entry {
        name: "forbid",
        about: "Say that none of a part goes to a room",
        deed: "choice",
        file: "",
        fixed: &[("choice.kind", "CHOICE_KIND_FORBID")],
        flags: &[
            SITE,
            must("part", "choice.part", Takes::Part, "The part, as LOT/PART"),
            must("room", "choice.room", Takes::Text, "Code of the room"),
            must("reason", "choice.reason", Takes::Text, "Why"),
        ],
        example: "forbid --site 1 --part 20310502000100000031/2 --room parish-pantry \
                  --reason \"they had enough\"",
    },
    Entry {
        name: "free",
        about: "Take a pin or a ban back",
        deed: "choice",
        file: "",
        fixed: &[("choice.kind", "CHOICE_KIND_FREE")],
        flags: &[
            SITE,
            must("part", "choice.part", Takes::Part, "The part, as LOT/PART"),
            must("room", "choice.room", Takes::Text, "Code of the room"),
            must("reason", "choice.reason", Takes::Text, "Why"),
        ],
        example: "free --site 1 --part 20310502000100000031/2 --room parish-pantry \
                  --reason \"they changed their mind\"",
    },
    Entry {
        name: "agree-price",
        about: "Agree a price with one diver for a while; it beats the list",
        deed: "agreedPrice",
        file: "agreedPrice",
        fixed: &[],
        flags: &[
            must(
                "site",
                "agreedPrice.site",
                Takes::Number,
                "Number of the site",
            ),
            must(
                "diver",
                "agreedPrice.harvester",
                Takes::Text,
                "Party code of the diver",
            ),
            must(
                "species",
                "agreedPrice.species",
                Takes::Text,
                "ASFIS 3-alpha code",
            ),
            must(
                "form",
                "agreedPrice.presentation",
                Takes::Word("Presentation"),
                "Form of the fish",
            ),
            may(
                "grade",
                "agreedPrice.grade",
                Takes::Text,
                "Grade; every grade when left out",
            ),
            may(
                "from",
                "agreedPrice.from",
                Takes::Instant,
                "From when; now when left out",
            ),
            must(
                "to",
                "agreedPrice.to",
                Takes::Instant,
                "First instant at which it holds no longer",
            ),
            must(
                "price",
                "agreedPrice.price",
                Takes::Price,
                "Such as 6.25USD/lb",
            ),
            may(
                "below-plate",
                "agreedPrice.belowPlate",
                Takes::YesOrNo,
                "Also for small fish and fish not counted: yes or no",
            ),
            must(
                "reason",
                "agreedPrice.reason",
                Takes::Text,
                "Printed on the ticket",
            ),
        ],
        example: "agree-price --site 1 --diver diver-1 --species PZO --form whole \
                  --from 2031-05-03T06:00:00-04:00 --to 2031-05-10T06:00:00-04:00 \
                  --price 6.25USD/lb --reason \"removal weekend\"",
    },
    Entry {
        name: "site",
        about: "Put a site on file, or a newer version of it",
        deed: "site",
        file: "site",
        fixed: &[],
        flags: &[
            must("number", "site.number", Takes::Number, "Number, 1 to 9999"),
            must("name", "site.name", Takes::Text, "Name"),
            must("time-zone", "site.timeZone", Takes::Text, "IANA time zone"),
            may(
                "cutover-hour",
                "site.cutoverHour",
                Takes::Number,
                "Local hour at which the business day turns",
            ),
            must(
                "currency",
                "site.currency",
                Takes::Text,
                "ISO 4217 code of its money",
            ),
            must("buyer", "site.buyer", Takes::Text, "Party that buys here"),
            must(
                "shown-in",
                "site.shownUnit",
                Takes::Word("WeightUnit"),
                "Unit people read on its papers",
            ),
            may(
                "address",
                "site.locationDescription",
                Takes::Text,
                "Address and telephone for traceability papers",
            ),
        ],
        example: "site --number 1 --name \"North dock\" --time-zone America/New_York \
                  --cutover-hour 4 --currency USD --buyer dock-buyer --shown-in lb",
    },
    Entry {
        name: "party",
        about: "Put somebody on file: diver, kitchen, recipient, staff",
        deed: "party",
        file: "party",
        fixed: &[],
        flags: &[
            must(
                "code",
                "party.code",
                Takes::Text,
                "Code, chosen by the office",
            ),
            must("name", "party.name", Takes::Text, "Name"),
            Flag {
                must: true,
                ..each(
                    "role",
                    "party.roles",
                    Takes::Word("PartyRole"),
                    "What they are here",
                )
            },
            may(
                "licence",
                "party.licenceNumber",
                Takes::Text,
                "Licence as written",
            ),
            may(
                "licence-expires",
                "party.licenceExpires",
                Takes::Day,
                "Its last valid day",
            ),
            may(
                "contact",
                "party.contact",
                Takes::Text,
                "Telephone or address for a recall",
            ),
        ],
        example: "party --code diver-1 --name \"First diver\" --role harvester --role payee",
    },
    Entry {
        name: "species",
        about: "Put a species on file that the book buys",
        deed: "species",
        file: "species",
        fixed: &[],
        flags: &[
            must("code", "species.code", Takes::Text, "ASFIS 3-alpha code"),
            must("name", "species.name", Takes::Text, "What people call it"),
            may(
                "scientific-name",
                "species.scientificName",
                Takes::Text,
                "Scientific name",
            ),
            each(
                "hazard",
                "species.hazards",
                Takes::Word("Hazard"),
                "Its hazard",
            ),
        ],
        example: "species --code PZO --name Lionfish --scientific-name \"Pterois volitans\" \
                  --hazard venomous --hazard ciguatera",
    },
    Entry {
        name: "scale",
        about: "Put a scale of a site on file",
        deed: "scale",
        file: "scale",
        fixed: &[],
        flags: &[
            must("site", "scale.site", Takes::Number, "Number of the site"),
            must(
                "code",
                "scale.code",
                Takes::Text,
                "Code, chosen by the office",
            ),
            may("name", "scale.name", Takes::Text, "Name"),
            may(
                "class",
                "scale.accuracyClass",
                Takes::Text,
                "Accuracy class as marked",
            ),
            must(
                "division",
                "scale.division",
                Takes::Weight,
                "Smallest step it shows",
            ),
            must(
                "capacity",
                "scale.capacity",
                Takes::Weight,
                "Most it weighs",
            ),
            may(
                "tested-on",
                "scale.testedOn",
                Takes::Day,
                "Day of its last test",
            ),
            may(
                "line",
                "scale.line",
                Takes::Text,
                "Regular expression its lines are read by: groups weight, unit, stable",
            ),
        ],
        example: "scale --site 1 --code dock --name \"Dock scale\" --class III --division 0.05 \
                  --capacity 250 --unit lb --tested-on 2031-03-14",
    },
    Entry {
        name: "tote",
        about: "Put a named tote with its posted tare on file",
        deed: "tote",
        file: "tote",
        fixed: &[],
        flags: &[
            must("site", "tote.site", Takes::Number, "Number of the site"),
            must(
                "code",
                "tote.code",
                Takes::Text,
                "Code, chosen by the office",
            ),
            must(
                "tare",
                "tote.tare",
                Takes::Weight,
                "Weight of the empty tote",
            ),
            may(
                "weighed-on",
                "tote.weighedOn",
                Takes::Day,
                "Day the tare was weighed",
            ),
        ],
        example: "tote --site 1 --code grey-1 --tare 3.60 --weighed-on 2031-04-21",
    },
    Entry {
        name: "device",
        about: "Put a device on file that can write tickets without signal",
        deed: "device",
        file: "device",
        fixed: &[],
        flags: &[
            must("site", "device.site", Takes::Number, "Number of the site"),
            must(
                "code",
                "device.code",
                Takes::Text,
                "Code, chosen by the office",
            ),
            may("name", "device.name", Takes::Text, "Name"),
        ],
        example: "device --site 1 --code tablet-1 --name \"Tablet at the scale\"",
    },
    Entry {
        name: "settings",
        about: "Record a site's settings; what is left out takes its default",
        deed: "settings",
        file: "settings",
        fixed: &[],
        flags: &[
            must("site", "settings.site", Takes::Number, "Number of the site"),
            may(
                "from",
                "settings.effectiveFrom",
                Takes::Instant,
                "From when they hold; now when left out",
            ),
            may(
                "ice-percent",
                "settings.icePercent",
                Takes::Text,
                "Ice allowance on totes marked iced, percent",
            ),
            may(
                "undersize-outlet",
                "settings.undersizeOutlet",
                Takes::Word("Outlet"),
                "Where small fish is proposed first",
            ),
            may(
                "hold-days",
                "settings.holdDays",
                Takes::Number,
                "A hold older than this is a flag each morning",
            ),
        ],
        example: "settings --file settings.toml",
    },
];

/// One deed, as it was typed.
#[derive(Debug)]
pub struct Deed {
    entry: &'static Entry,
    matches: ArgMatches,
}

impl FromArgMatches for Deed {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let (name, matches) = matches
            .subcommand()
            .ok_or_else(|| clap::Error::new(clap::error::ErrorKind::MissingSubcommand))?;
        let entry = ENTRIES
            .iter()
            .find(|entry| entry.name == name)
            .ok_or_else(|| clap::Error::new(clap::error::ErrorKind::InvalidSubcommand))?;
        Ok(Deed {
            entry,
            matches: matches.clone(),
        })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Deed::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Subcommand for Deed {
    fn augment_subcommands(command: clap::Command) -> clap::Command {
        ENTRIES.iter().fold(command, |command, entry| {
            command.subcommand(entry.command())
        })
    }

    fn augment_subcommands_for_update(command: clap::Command) -> clap::Command {
        Deed::augment_subcommands(command)
    }

    fn has_subcommand(name: &str) -> bool {
        ENTRIES.iter().any(|entry| entry.name == name)
    }
}

impl Entry {
    fn command(&self) -> clap::Command {
        let mut command = clap::Command::new(self.name)
            .about(self.about)
            .after_help(format!("Example:\n  weighhouse {}", self.example));
        for flag in self.flags {
            command = command.arg(flag.arg());
        }
        if self.weighs() {
            command = command
                .arg(
                    Arg::new("unit")
                        .long("unit")
                        .help("Unit of the weights")
                        .value_parser(PossibleValuesParser::new(json::words("WeightUnit")))
                        .default_value("lb"),
                )
                .arg(
                    Arg::new("scale-of")
                        .long("read-on")
                        .value_name("SCALE")
                        .help("Code of the scale that showed them"),
                );
        }
        command = command
            .arg(Arg::new("file").long("file").value_name("FILE").help(
                "Protobuf JSON, or TOML where it is named so, with any fields of the \
                         request, also those without a flag; flags go on top of it",
            ))
            .arg(
                Arg::new("request-id")
                    .long("request-id")
                    .value_name("UUID")
                    .value_parser(clap::value_parser!(uuid::Uuid))
                    .help("UUID of the request; sent again, it gives the first answer"),
            );
        // What it flattens has an about of its own.
        Reach::augment_args(command).about(self.about)
    }

    fn weighs(&self) -> bool {
        self.flags.iter().any(|flag| flag.takes.weighs())
    }

    /// Fields of the request as the service names them, and their flags.
    fn fields(&self) -> Vec<(String, String)> {
        let mut fields: Vec<(String, String)> = self
            .flags
            .iter()
            .map(|flag| (snake(flag.path), format!("--{}", flag.long)))
            .collect();
        fields.push(("request_id".to_owned(), "--request-id".to_owned()));
        fields
    }
}

impl Flag {
    fn arg(&self) -> Arg {
        let arg = Arg::new(self.long)
            .long(self.long)
            .help(self.help)
            .value_name(self.takes.value_name())
            .action(if self.many {
                ArgAction::Append
            } else {
                ArgAction::Set
            });
        let arg = match self.takes {
            Takes::Word(of) => arg.value_parser(PossibleValuesParser::new(json::words(of))),
            _ => arg,
        };
        if self.must {
            arg.required_unless_present("file")
        } else {
            arg
        }
    }
}

/// `pool.storage` and `happenedAt` as the service writes them.
fn snake(path: &str) -> String {
    let mut snake = String::new();
    for letter in path.chars() {
        if letter.is_ascii_uppercase() {
            snake.push('_');
        }
        snake.push(letter.to_ascii_lowercase());
    }
    snake
}

impl Deed {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let unread = |error: clap::Error| Trouble::Typed(error.to_string());
        let reach = Reach::from_arg_matches(&self.matches).map_err(unread)?;
        let file = match self.matches.get_one::<String>("file") {
            Some(name) => {
                let text = std::fs::read_to_string(name)
                    .map_err(|error| Trouble::File(format!("{name}: {error}")))?;
                let text = text.trim_start_matches('\u{feff}');
                let read = if name.ends_with(".toml") {
                    toml::read(text)
                } else {
                    serde_json::from_str(text).map_err(|error| error.to_string())
                };
                Some(read.map_err(|why| Trouble::File(format!("{name}: {why}")))?)
            }
            None => None,
        };
        let (request_id, request) = self.request(file)?;
        let deed: v1::Deed = json::read(&json!({ self.entry.deed: request }))
            .map_err(|bad| Trouble::Typed(self.in_flags(&bad)))?;
        let service = reach.service().await?;
        let fields = self.entry.fields();
        let fields: Vec<(&str, &str)> = fields
            .iter()
            .map(|(field, flag)| (field.as_str(), flag.as_str()))
            .collect();
        let answer = week::send(&service, None, deed)
            .await
            .map_err(|trouble| trouble.of_request(&request_id).in_flags(&fields))?;
        if reach.json {
            let ids = serde_json::to_value(answer.ids())
                .map_err(|_| Trouble::Unreadable("its ids have no JSON form"))?;
            return Ok(format!("{ids:#}\n"));
        }
        let known = crate::Known::ask(&service).await?;
        Ok(format!("{}{}", known.clock_note(), self.told(answer)))
    }

    /// The request id, and the request as canonical JSON.
    fn request(&self, file: Option<Value>) -> Result<(String, Value), Trouble> {
        let mut request = Value::Object(Map::new());
        if let Some(content) = file {
            if self.entry.file.is_empty() {
                request = content;
            } else {
                put(&mut request, self.entry.file, content, false);
            }
        }
        let given = self.matches.get_one::<uuid::Uuid>("request-id").copied();
        let kept = request["requestId"].as_str().map(str::to_owned);
        let id = match (given, kept) {
            (None, Some(kept)) => kept,
            (given, _) => given.unwrap_or_else(uuid::Uuid::new_v4).to_string(),
        };
        put(&mut request, "requestId", id.clone().into(), false);
        for (path, word) in self.entry.fixed {
            put(&mut request, path, (*word).into(), false);
        }
        let reading = if self.entry.weighs() {
            Reading {
                unit: self.one("unit").unwrap_or("lb").to_ascii_uppercase(),
                scale: self.one("scale-of").unwrap_or_default().to_owned(),
            }
        } else {
            Reading::default()
        };
        for flag in self.entry.flags {
            let typed = self.matches.get_many::<String>(flag.long);
            for text in typed.into_iter().flatten() {
                let value = flag
                    .takes
                    .read(text, &reading)
                    .map_err(|why| Trouble::Typed(format!("--{} {text}: {why}", flag.long)))?;
                put(
                    &mut request,
                    flag.path,
                    value,
                    flag.takes.is_row() || flag.many,
                );
            }
        }
        Ok((id, request))
    }

    fn one(&self, name: &str) -> Option<&str> {
        self.matches.get_one::<String>(name).map(String::as_str)
    }

    /// A mistake in what was typed, named by its flag.
    fn in_flags(&self, bad: &json::BadJson) -> String {
        let field = bad.field.split_once('.').map_or("", |(_, field)| field);
        let flags = self.entry.flags.iter();
        let flag = flags
            .filter(|flag| field.starts_with(flag.path))
            .max_by_key(|flag| flag.path.len());
        match flag {
            Some(flag) => format!("--{}: {}", flag.long, bad.what),
            None => bad.to_string(),
        }
    }

    /// What came of it, for a person.
    fn told(&self, answer: week::Answer) -> String {
        let notices = answer.notices.clone();
        let day = show::day(answer.recorded.day.as_ref());
        let ids = answer.ids();
        let mut page = show::Page::title(format!("Booked: {}", self.entry.name));
        page.facts(&[
            ("entry", ids.entry),
            ("business day", day),
            ("hold", ids.hold),
            ("new lots", ids.lots.join(", ")),
            ("lot numbers", from_first_to_last(&ids.numbers)),
        ]);
        ticket::notices(&mut page, &notices, &[]);
        page.done()
    }
}

/// Numbers that follow one another.
fn from_first_to_last(numbers: &[String]) -> String {
    match numbers {
        [] => String::new(),
        [one] => one.clone(),
        [first, .., last] => format!("{first} to {last}"),
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may panic")]
mod tests;
#[cfg(test)]
pub(crate) use tests::words;
