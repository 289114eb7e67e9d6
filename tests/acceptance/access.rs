//! Who may do what, tried: every method of the contract, by every kind of caller, on
//! what is theirs, on what is another's and on what is not there.
//!
//! The rows say what must come of it, and were written from what each role is for, not
//! from the program's own table. A method that came to the contract and has no row fails
//! the test. All refusals for want of a right are one: the same bytes, whatever was
//! asked for and whether or not it exists.

use std::collections::{BTreeMap, BTreeSet};

use client::week::{Way, Week};
use prost_reflect::{
    DescriptorPool, DynamicMessage, MessageDescriptor, MethodDescriptor, ReflectMessage as _,
};
use proto::v1;
use proto::v1::catch_up_request::Item;
use proto::v1::intake_service_client::IntakeServiceClient;
use serde_json::{Value, json};
use tokio_stream::StreamExt as _;
use tonic::codec::{Codec, DecodeBuf, Decoder, EncodeBuf, Encoder};
use tonic::transport::Channel;
use tonic::{Code, Request, Status};

use crate::harness::{OFFICE, Server, fresh, set_clock};
use crate::week::send_week;

/// Who tries, in the order of the columns: a buyer and an office of the whole book, a
/// diver, one who only has a share of a boat, a kitchen, a hand at the cutting table, an
/// auditor of the whole book, and a buyer and an office bound to the sites of a second
/// buyer.
#[rustfmt::skip]
const WHO: [(&str, &str, &str); 9] = [
    ("buyer",      "ROLE_BUYER",   ""),
    ("wren",       "ROLE_DIVER",   "wren-haldane"),
    ("tarn",       "ROLE_DIVER",   "skiff-tarn"),
    ("hill",       "ROLE_KITCHEN", "hill-kitchen"),
    ("bess",       "ROLE_KITCHEN", "bess-orrin"),
    ("office",     "ROLE_OFFICE",  ""),
    ("auditor",    "ROLE_AUDITOR", ""),
    ("far buyer",  "ROLE_BUYER",   "far-shore-fish"),
    ("far office", "ROLE_OFFICE",  "far-shore-fish"),
];

/// A lot of one tote of lionfish, weighed on the scale "dock".
const LOT: &str = r#"{"species":"PZO","presentation":"PRESENTATION_WHOLE","storage":"STORAGE_DRAINED_ICE","weighings":[{"grade":"A","condition":"CONDITION_CLEAN","tote":{"gross":{"decimal":"44.00","unit":"WEIGHT_UNIT_LB","scale":"dock"},"tareReading":{"decimal":"4.00","unit":"WEIGHT_UNIT_LB","scale":"dock"},"pieces":50}}]}"#;

/// Method, request, and what must come of it for each of [`WHO`]: `+` done, `-` not
/// theirs, `?` a bad request, `!` not in this state, `0` there is none.
///
/// `@name` stands for something of the book, `{{…}}` for an id of the demo's week. A
/// deed gets a request id of its own each time. Where a deed would be done for all who
/// may do it, the row rather asks for one that is refused for another reason; a caller
/// who may not is refused before that is looked at.
#[rustfmt::skip]
const ROWS: &[(&str, &str, &str)] = &[
    //                                                                                                      b w t h s o a B O
    ("Intake/RecordWeighIn", r#"{"site":1,"harvester":"wren-haldane","landing":@landing,"confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#, "+ - - - - + - - -"),
    ("Intake/RecordWeighIn", r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#, "+ - - - - + - + +"),
    ("Intake/RecordWeighIn", r#"{"site":7,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#, "? - - - - ? - - -"),
    ("Intake/RecordWeighIn", r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot],"rewrites":{"ticket":"{{ticket:mon-01}}","reason":"r"}}"#, "? - - - - ? - - -"),
    ("Intake/RecordWeighIn", r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot],"rewrites":{"ticket":"@nothing1","reason":"r"}}"#, "? - - - - ? - - -"),
    ("Intake/RecordWeighIn", r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot],"rewrites":{"ticket":"@nothing2","reason":"r"}}"#, "? - - - - ? - ? ?"),
    ("Intake/GetTicket", r#"{"ticket":"{{ticket:mon-01}}"}"#,                                               "+ + - - - + + - -"),
    ("Intake/GetTicket", r#"{"ticket":"{{ticket:mon-02}}"}"#,                                               "+ - - - - + + - -"),
    ("Intake/GetTicket", r#"{"ticket":"{{ticket:tue-12}}"}"#,                                               "+ - + - - + + - -"),
    ("Intake/GetTicket", r#"{"ticket":"{{entry:mon-08}}"}"#,                                                "0 - - - - 0 0 - -"),
    ("Intake/GetTicket", r#"{"ticket":"@far_ticket"}"#,                                                     "+ + - - - + + + +"),
    ("Intake/GetTicket", r#"{"ticket":"@nothing1"}"#,                                                       "0 - - - - 0 0 - -"),
    ("Intake/GetTicket", r#"{"ticket":"@nothing2"}"#,                                                       "0 - - - - 0 0 0 0"),
    ("Intake/GetTicket", r#"{"ticket":"@nothing7"}"#,                                                       "0 - - - - 0 0 - -"),
    ("Intake/ListTickets", r#"{"site":1,"from":@monday,"to":@after}"#,                                      "+ + + - - + + - -"),
    ("Intake/ListTickets", r#"{"site":2,"from":@monday,"to":@after}"#,                                      "+ + + - - + + + +"),
    ("Intake/ListTickets", r#"{"site":7,"from":@monday,"to":@after}"#,                                      "+ + + - - + + - -"),
    ("Intake/VoidTicket", r#"{"ticket":"{{ticket:tue-16}}","reason":"r"}"#,                                 "! - - - - ! - - -"),
    ("Intake/VoidTicket", r#"{"ticket":"@nothing1","reason":"r"}"#,                                         "? - - - - ? - - -"),
    ("Intake/VoidTicket", r#"{"ticket":"@nothing2","reason":"r"}"#,                                         "? - - - - ? - ? ?"),

    ("Stock/HoldPart", r#"{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"reason":"r"}"#,                 "? - - - - ? - - -"),
    ("Stock/HoldPart", r#"{"part":{"lotCode":"@no_lot1","part":1},"reason":"r"}"#,                          "? - - - - ? - - -"),
    ("Stock/HoldPart", r#"{"part":{"lotCode":"@far_lot","part":99},"reason":"r"}"#,                         "? - - - - ? - ? ?"),
    ("Stock/ReleaseHold", r#"{"holdId":"{{hold:fri-20}}","reason":"r"}"#,                                   "! - - - - ! - - -"),
    ("Stock/ReleaseHold", r#"{"holdId":"@nothing1","reason":"r"}"#,                                         "? - - - - ? - - -"),
    ("Stock/ReleaseHold", r#"{"holdId":"@nothing2","reason":"r"}"#,                                         "? - - - - ? - ? ?"),
    ("Stock/RegradePart", r#"{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"grade":"B","reason":"r"}"#,  "? - - - - ? - - -"),
    ("Stock/RegradePart", r#"{"part":{"lotCode":"@no_lot1","part":1},"grade":"B","reason":"r"}"#,           "? - - - - ? - - -"),
    ("Stock/RecordMovement", r#"{"site":1,"outlet":"OUTLET_CREW_USE","taken":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordMovement", r#"{"site":2,"outlet":"OUTLET_CREW_USE","taken":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":1},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordMovement", r#"{"site":2,"outlet":"OUTLET_CREW_USE","taken":[{"part":{"lotCode":"@no_lot1","part":1},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordMovement", r#"{"site":2,"outlet":"OUTLET_CREW_USE","taken":[{"part":{"lotCode":"@far_lot","part":99},"weight":@pound}]}"#, "? - - - - ? - ? ?"),
    ("Stock/RecordReturn", r#"{"movement":"{{entry:mon-08}}","part":{"lotCode":"{{lot:mon-01/2}}","part":99},"weight":@pound,"reason":"r"}"#, "? - - - - ? - - -"),
    ("Stock/RecordReturn", r#"{"movement":"@nothing1","part":{"lotCode":"{{lot:mon-01/2}}","part":1},"weight":@pound,"reason":"r"}"#, "? - - - - ? - - -"),
    ("Stock/RecordReturn", r#"{"movement":"@nothing2","part":{"lotCode":"{{lot:mon-01/2}}","part":1},"weight":@pound,"reason":"r"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUSTOMER_CUT","inputs":[{"dispatch":"{{entry:mon-08}}","weight":@pound}],"outputs":[@fillet],"specification":"skinless","kitchen":"hill-kitchen"}"#, "+ - - + - + - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUSTOMER_CUT","inputs":[{"dispatch":"{{entry:mon-09}}","weight":@pound}],"outputs":[@fillet],"specification":"skinless","kitchen":"hill-kitchen"}"#, "+ - - - - + - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUSTOMER_CUT","inputs":[{"dispatch":"@nothing1","weight":@pound}],"outputs":[@fillet],"specification":"skinless","kitchen":"hill-kitchen"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUSTOMER_CUT","inputs":[{"dispatch":"{{entry:mon-09}}","weight":@pound}],"outputs":[@fillet],"specification":"skinless","kitchen":"varnley-kitchen"}"#, "+ - - - - + - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUT","inputs":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}],"outputs":[@fillet],"specification":"skinless","cutter":"bess-orrin"}"#, "? - - - ? ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUT","inputs":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}],"outputs":[@fillet],"specification":"skinless","cutter":"caleb-thrane"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUT","inputs":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}],"outputs":[@fillet],"specification":"skinless","cutter":"hill-kitchen"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_CUT","inputs":[{"part":{"lotCode":"@no_lot1","part":1},"weight":@pound}],"outputs":[@fillet],"specification":"skinless","cutter":"hill-kitchen"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":2,"kind":"MAKING_KIND_CUT","inputs":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":1},"weight":@pound}],"outputs":[@fillet],"specification":"skinless","cutter":"caleb-thrane"}"#, "? - - - - ? - - -"),
    ("Stock/RecordMaking", r#"{"site":1,"kind":"MAKING_KIND_FREEZE","inputs":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}],"outputs":[@fillet]}"#, "? - - - - ? - - -"),
    ("Stock/RecordCount", r#"{"site":1,"closes":@sunday,"counted":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordCount", r#"{"site":2,"closes":@sunday,"counted":[{"part":{"lotCode":"{{lot:mon-01/1}}","part":1},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordCount", r#"{"site":2,"closes":@sunday,"counted":[{"part":{"lotCode":"@no_lot1","part":1},"weight":@pound}]}"#, "? - - - - ? - - -"),
    ("Stock/RecordReweigh", r#"{"site":1,"part":{"lotCode":"{{lot:mon-01/1}}","part":99},"reading":@pound}"#, "? - - - - ? - - -"),
    ("Stock/RecordReweigh", r#"{"site":2,"part":{"lotCode":"{{lot:mon-01/1}}","part":1},"reading":@pound}"#, "? - - - - ? - - -"),
    ("Stock/RecordReweigh", r#"{"site":2,"weighing":{"ticket":"@nothing1","lot":1,"weighing":1},"reading":@pound}"#, "? - - - - ? - - -"),
    ("Stock/GetLot", r#"{"lotCode":"{{lot:mon-01/2}}"}"#,                                                   "+ - - + - + + - -"),
    ("Stock/GetLot", r#"{"lotCode":"{{lot:mon-05/1}}"}"#,                                                   "+ - - - - + + - -"),
    ("Stock/GetLot", r#"{"lotCode":"@far_lot"}"#,                                                           "+ - - - - + + + +"),
    ("Stock/GetLot", r#"{"lotCode":"@no_lot1"}"#,                                                           "0 - - - - 0 0 - -"),

    ("Receiving/RecordReprobe", r#"{"lotCode":"{{lot:mon-01/1}}","probes":[@warm],"happenedAt":"2031-04-28T05:00:00-04:00"}"#, "? - - - - ? - - -"),
    ("Receiving/RecordReprobe", r#"{"lotCode":"@no_lot1","probes":[@warm]}"#,                               "? - - - - ? - - -"),
    ("Receiving/GetReceivingLog", r#"{"site":1,"day":@monday}"#,                                            "+ - - - - + + - -"),
    ("Receiving/GetReceivingLog", r#"{"site":2,"day":@monday}"#,                                            "+ - - - - + + + +"),
    ("Receiving/GetReceivingLog", r#"{"site":7,"day":@monday}"#,                                            "? - - - - ? ? - -"),

    ("Close/GetClose", r#"{"site":1,"day":@monday}"#,                                                       "+ - - - - + + - -"),
    ("Close/GetClose", r#"{"site":1,"day":@after}"#,                                                        "0 - - - - 0 0 - -"),
    ("Close/GetClose", r#"{"site":2,"day":@monday}"#,                                                       "0 - - - - 0 0 0 0"),
    ("Close/GetClose", r#"{"site":7,"day":@monday}"#,                                                       "0 - - - - 0 0 - -"),
    ("Close/ListFlags", r#"{"site":1,"from":@monday,"to":@after}"#,                                         "+ - - - - + + - -"),
    ("Close/ListFlags", r#"{"site":7,"from":@monday,"to":@after}"#,                                         "? - - - - ? ? - -"),
    ("Close/AcknowledgeFlag", r#"{"key":"@flag","reason":"r"}"#,                                            "+ - - - - + - - -"),
    ("Close/AcknowledgeFlag", r#"{"key":"no such flag","reason":"r"}"#,                                     "? - - - - ? - - -"),

    ("Codes/RequestCodes", r#"{"site":1,"device":"no-such","count":5}"#,                                    "? - - - - ? - - -"),
    ("Codes/RequestCodes", r#"{"site":2,"device":"no-such","count":5}"#,                                    "? - - - - ? - ? ?"),
    ("Codes/RequestCodes", r#"{"site":7,"device":"no-such","count":5}"#,                                    "? - - - - ? - - -"),

    ("LandingReport/ListLandings", r#"{"site":1,"from":@monday,"to":@after}"#,                              "+ - - - - + + - -"),
    ("LandingReport/ListLandings", r#"{"site":7,"from":@monday,"to":@after}"#,                              "? - - - - ? ? - -"),
    ("LandingReport/ListTallies", r#"{"site":1,"from":@monday,"to":@after}"#,                               "+ - - - - + + - -"),
    ("LandingReport/ListTallies", r#"{"site":7,"from":@monday,"to":@after}"#,                               "? - - - - ? ? - -"),

    ("Yield/WeighSmallFish", r#"{"site":1,"species":"PZO","specification":"skinless","piece":{"decimal":"0.35","unit":"WEIGHT_UNIT_LB","source":"READING_SOURCE_KEYED"},"yieldPercent":"23","minutesPerFish":"1.6"}"#, "+ - - - - + + - -"),
    ("Yield/ListSupplierYields", r#"{"site":1,"from":@monday,"to":@after,"supplier":"wren-haldane"}"#,      "+ + - + - + + - -"),
    ("Yield/ListSupplierYields", r#"{"site":1,"from":@monday,"to":@after,"supplier":"skiff-tarn"}"#,        "+ - + - - + + - -"),
    ("Yield/ListSupplierYields", r#"{"site":1,"from":@monday,"to":@after,"supplier":"nobody-here"}"#,       "? - - - - ? ? - -"),
    ("Yield/ListSupplierYields", r#"{"site":1,"from":@monday,"to":@after}"#,                                "+ - - + + + + - -"),
    ("Yield/AnswerYield", r#"{"site":1,"supplier":"wren-haldane","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- + - - - + - - -"),
    ("Yield/AnswerYield", r#"{"site":1,"supplier":"jonas-brandeth","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- - - - - + - - -"),
    ("Yield/AnswerYield", r#"{"site":1,"supplier":"skiff-tarn","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- - ! - - ! - - -"),
    ("Yield/AnswerYield", r#"{"site":1,"supplier":"hill-kitchen","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- - - - - ! - - -"),
    ("Yield/AnswerYield", r#"{"site":1,"supplier":"nobody-here","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- - - - - ? - - -"),
    ("Yield/AnswerYield", r#"{"site":2,"supplier":"wren-haldane","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- ! - - - ! - - !"),
    ("Yield/AnswerYield", r#"{"site":7,"supplier":"wren-haldane","species":"PZO","from":@monday,"to":@after,"text":"t"}"#, "- ? - - - ? - - -"),

    ("Statement/GetStatement", r#"{"site":1,"party":"wren-haldane","from":@monday,"to":@after}"#,           "+ + - - - + + - -"),
    ("Statement/GetStatement", r#"{"site":2,"party":"wren-haldane","from":@monday,"to":@after}"#,           "+ + - - - + + + +"),
    ("Statement/GetStatement", r#"{"site":1,"party":"osric-pell","from":@monday,"to":@after}"#,             "+ - - - - + + - -"),
    ("Statement/GetStatement", r#"{"site":1,"party":"nobody-here","from":@monday,"to":@after}"#,            "? - - - - ? ? - -"),

    ("Settlement/PreviewSettlement", r#"{"site":1,"payee":"wren-haldane","scope":{}}"#,                     "+ + - - - + + - -"),
    ("Settlement/PreviewSettlement", r#"{"site":1,"payee":"wren-haldane","scope":{"tickets":["{{ticket:mon-02}}"]}}"#, "! - - - - ! ! - -"),
    ("Settlement/PreviewSettlement", r#"{"site":1,"payee":"wren-haldane","scope":{"tickets":["@nothing1"]}}"#, "? - - - - ? ? - -"),
    ("Settlement/PreviewSettlement", r#"{"site":1,"payee":"osric-pell","scope":{}}"#,                       "+ - - - - + + - -"),
    ("Settlement/PreviewSettlement", r#"{"site":1,"payee":"nobody-here","scope":{}}"#,                      "? - - - - ? ? - -"),
    ("Settlement/PreviewSettlement", r#"{"site":2,"payee":"nobody-here","scope":{}}"#,                      "? - - - - ? ? ? ?"),
    ("Settlement/Settle", r#"{"site":1,"payee":"wren-haldane","scope":{},"payments":[@cent]}"#,             "! - - - - ! - - -"),
    ("Settlement/Settle", r#"{"site":1,"payee":"nobody-here","scope":{},"payments":[@cent]}"#,              "? - - - - ? - - -"),
    ("Settlement/Settle", r#"{"site":2,"payee":"wren-haldane","scope":{"tickets":["{{ticket:mon-01}}"]},"payments":[@cent]}"#, "? - - - - ? - - -"),
    ("Settlement/RecordAdvance", r#"{"site":1,"payee":"nobody-here","payment":@cent,"reason":"r"}"#,        "? - - - - ? - - -"),
    ("Settlement/RecordCharge", r#"{"site":1,"payee":"nobody-here","name":"ice","amount":@money,"order":1}"#, "? - - - - ? - - -"),
    ("Settlement/TakeBack", r#"{"entry":"{{entry:wed-18}}","reason":"r"}"#,                                 "! - - - - ! - - -"),
    ("Settlement/TakeBack", r#"{"entry":"@nothing1","reason":"r"}"#,                                        "? - - - - ? - - -"),
    ("Settlement/TakeBack", r#"{"entry":"@nothing2","reason":"r"}"#,                                        "? - - - - ? - ? ?"),
    ("Settlement/GetCashYear", r#"{"payee":"wren-haldane","year":2031}"#,                                   "+ + - - - + + + +"),
    ("Settlement/GetCashYear", r#"{"payee":"osric-pell","year":2031}"#,                                     "+ - - - - + + + +"),
    ("Settlement/GetCashYear", r#"{"payee":"nobody-here","year":2031}"#,                                    "? - - - - ? ? ? ?"),
    ("Settlement/RecordDrawerCount", r#"{"site":1,"day":@later,"opening":@money,"counted":@money}"#,        "? - - - - ? - - -"),
    ("Settlement/GetDrawer", r#"{"site":1,"day":@monday}"#,                                                 "+ - - - - + + - -"),
    ("Settlement/GetDrawer", r#"{"site":7,"day":@monday}"#,                                                 "? - - - - ? ? - -"),
    ("Settlement/DisputeLine", r#"{"ticket":"{{ticket:sun-11}}","line":99,"text":"t"}"#,                    "? - - - - ? - - -"),
    ("Settlement/DisputeLine", r#"{"ticket":"{{ticket:sat-13}}","line":99,"text":"t"}"#,                    "? ? - - - ? - - -"),
    ("Settlement/DisputeLine", r#"{"ticket":"{{ticket:tue-12}}","line":99,"text":"t"}"#,                    "? - ? - - ? - - -"),
    ("Settlement/DisputeLine", r#"{"ticket":"@nothing1","line":1,"text":"t"}"#,                             "? - - - - ? - - -"),
    ("Settlement/AnswerDispute", r#"{"dispute":"{{entry:thu-20}}","answer":"a"}"#,                          "! - - - - ! - - -"),
    ("Settlement/AnswerDispute", r#"{"dispute":"@nothing1","answer":"a"}"#,                                 "? - - - - ? - - -"),

    ("Office/RecordSite", r#"{"site":@euros1}"#,                                                            "- - - - - ! - - -"),
    ("Office/RecordSite", r#"{"site":@euros2}"#,                                                            "- - - - - ! - - !"),
    ("Office/ListSites", r#"{}"#,                                                                           "+ + + + + + + + +"),
    ("Office/RecordParty", r#"{"party":{"code":"new-hand","name":"A New Hand","roles":["PARTY_ROLE_STAFF"]}}"#, "- - - - - + - - +"),
    ("Office/ListParties", r#"{}"#,                                                                         "+ + + + + + + + +"),
    ("Office/RecordSpecies", r#"{"species":@species}"#,                                                     "- - - - - + - - +"),
    ("Office/ListSpecies", r#"{}"#,                                                                         "+ + + + + + + + +"),
    ("Office/RecordScale", r#"{"scale":@scale1}"#,                                                          "- - - - - + - - -"),
    ("Office/RecordScale", r#"{"scale":@scale2}"#,                                                          "- - - - - + - - +"),
    ("Office/RecordScale", r#"{"scale":@scale7}"#,                                                          "- - - - - ? - - -"),
    ("Office/ListScales", r#"{"site":1}"#,                                                                  "+ - - - - + + - -"),
    ("Office/ListScales", r#"{"site":2}"#,                                                                  "+ - - - - + + + +"),
    ("Office/ListScales", r#"{"site":7}"#,                                                                  "+ - - - - + + - -"),
    ("Office/RecordTote", r#"{"tote":@tote1}"#,                                                             "+ - - - - + - - -"),
    ("Office/RecordTote", r#"{"tote":@tote7}"#,                                                             "? - - - - ? - - -"),
    ("Office/ListTotes", r#"{"site":1}"#,                                                                   "+ - - - - + + - -"),
    ("Office/ListTotes", r#"{"site":2}"#,                                                                   "+ - - - - + + + +"),
    ("Office/RecordDevice", r#"{"device":{"site":1,"code":"d","name":"D"}}"#,                               "- - - - - + - - -"),
    ("Office/RecordDevice", r#"{"device":{"site":7,"code":"d","name":"D"}}"#,                               "- - - - - ? - - -"),
    ("Office/ListDevices", r#"{"site":1}"#,                                                                 "+ - - - - + + - -"),
    ("Office/ListDevices", r#"{"site":2}"#,                                                                 "+ - - - - + + + +"),
    ("Office/RecordSettings", r#"{"settings":{"site":7}}"#,                                                 "- - - - - ? - - -"),
    ("Office/RecordSettings", r#"{"settings":{"site":1,"icePercent":"3"}}"#,                                "- - - - - + - - -"),
    ("Office/GetSettings", r#"{"site":1}"#,                                                                 "+ - - - - + + - -"),
    ("Office/GetSettings", r#"{"site":2}"#,                                                                 "+ - - - - + + + +"),
    ("Office/GetSettings", r#"{"site":7}"#,                                                                 "? - - - - ? ? - -"),
    ("Office/PostPriceList", r#"{"priceList":@list1}"#,                                                     "- - - - - ? - - -"),
    ("Office/PostPriceList", r#"{"priceList":@list7}"#,                                                     "- - - - - ? - - -"),
    ("Office/ListPriceLists", r#"{"site":1}"#,                                                              "+ + + - - + + - -"),
    ("Office/ListPriceLists", r#"{"site":2}"#,                                                              "+ + + - - + + + +"),
    ("Office/CheckPriceList", r#"{"priceList":@list1}"#,                                                    "+ - - - - + - - -"),
    ("Office/RecordAgreedPrice", r#"{"agreedPrice":{"site":1,"harvester":"nobody-here","species":"PZO","presentation":"PRESENTATION_WHOLE","to":"2031-05-09T06:00:00-04:00","price":{"decimal":"7.25","currency":"USD","per":"WEIGHT_UNIT_LB"},"reason":"r"}}"#, "- - - - - ? - - -"),
    ("Outlet/RecordRoom", r#"{"room":{"site":1,"code":"r","name":"r","kind":"ROOM_KIND_SOUP","party":"nobody-here","presentations":["PRESENTATION_GUTTED_HEADED"],"weight":@pound}}"#, "? - - - - ? - - -"),
    ("Outlet/RecordRoom", r#"{"room":{"site":7,"code":"r","name":"r","kind":"ROOM_KIND_CREW_USE","weight":@pound}}"#, "? - - - - ? - - -"),
    ("Outlet/ListRooms", r#"{"site":1}"#,                                                                   "+ - - - - + + - -"),
    ("Outlet/ListRooms", r#"{"site":2}"#,                                                                   "+ - - - - + + + +"),
    ("Outlet/RecordChoice", r#"{"site":1,"choice":{"kind":"CHOICE_KIND_FORBID","part":{"lotCode":"{{lot:mon-01/1}}","part":99},"room":"r","reason":"r"}}"#, "? - - - - ? - - -"),
    ("Outlet/RecordChoice", r#"{"site":1,"choice":{"kind":"CHOICE_KIND_FORBID","part":{"lotCode":"@no_lot1","part":1},"room":"r","reason":"r"}}"#, "? - - - - ? - - -"),
    ("Outlet/ProposePlan", r#"{"site":1}"#,                                                                 "+ - - - - + + - -"),
    ("Outlet/ProposePlan", r#"{"site":2}"#,                                                                 "+ - - - - + + + +"),
    ("Outlet/RecordPlan", r#"{"site":1,"digest":"0000000000000000000000000000000000000000000000000000000000000000"}"#, "! - - - - ! - - -"),
    ("Outlet/GetPlan", r#"{"plan":"@nothing1"}"#,                                                           "0 - - - - 0 0 - -"),
    ("Outlet/GetPlan", r#"{"plan":"@nothing2"}"#,                                                           "0 - - - - 0 0 0 0"),
    ("Outlet/GetDispatchNote", r#"{"movement":"{{entry:mon-08}}"}"#,                                        "+ - - + - + + - -"),
    ("Outlet/GetDispatchNote", r#"{"movement":"@nothing1"}"#,                                               "0 - - - - 0 0 - -"),
    ("Office/RecordBaseline", r#"{"baseline":{"site":1,"follows":"FOLLOWS_SUPPLIER","party":"nobody-here","from":{"year":2031,"month":4,"day":1},"to":{"year":2031,"month":4,"day":8},"reason":"r"}}"#, "- - - - - ? - - -"),
    ("Office/ListBaselines", r#"{"site":1}"#,                                                               "+ - - - - + + - -"),
    ("Office/ListAgreedPrices", r#"{"site":1,"harvester":"wren-haldane"}"#,                                 "+ + - - - + + - -"),
    ("Office/ListAgreedPrices", r#"{"site":1,"harvester":"osric-pell"}"#,                                   "+ - - - - + + - -"),
    ("Office/ListAgreedPrices", r#"{"site":1,"harvester":"nobody-here"}"#,                                  "+ - - - - + + - -"),
    ("Office/ListAgreedPrices", r#"{"site":1}"#,                                                            "+ - - - - + + - -"),

    ("Clock/GetClock", r#"{}"#,                                                                             "+ + + + + + + + +"),
    ("Clock/SetClock", r#"{"now":"@now"}"#,                                                                 "- - - - - + - - -"),

    ("Key/IssueKey", r#"{"name":"k","role":"ROLE_AUDITOR"}"#,                                               "- - - - - + - - -"),
    ("Key/IssueKey", r#"{"name":"k","role":"ROLE_DIVER","party":"wren-haldane"}"#,                          "- - - - - + - - -"),
    ("Key/IssueKey", r#"{"name":"k","role":"ROLE_DIVER","party":"nobody-here"}"#,                           "- - - - - ? - - -"),
    ("Key/IssueKey", r#"{"name":"k","role":"ROLE_BUYER","party":"far-shore-fish"}"#,                        "- - - - - + - - +"),
    ("Key/RevokeKey", r#"{"key":"@revoked","reason":"r"}"#,                                                 "- - - - - ! - - -"),
    ("Key/RevokeKey", r#"{"key":"@nothing1","reason":"r"}"#,                                                "- - - - - ? - - -"),
    ("Key/ListKeys", r#"{}"#,                                                                               "- - - - - + + - +"),
    ("Key/GetCaller", r#"{}"#,                                                                              "+ + + + + + + + +"),

    ("Audit/ListEntries", r#"{"site":1,"day":@monday}"#,                                                    "- - - - - + + - -"),
    ("Audit/ListEntries", r#"{"site":2,"day":@monday}"#,                                                    "- - - - - + + - +"),
    ("Audit/ListEntries", r#"{"site":0,"day":@monday}"#,                                                    "- - - - - + + - -"),
    ("Audit/ListEntries", r#"{"site":7,"day":@monday}"#,                                                    "- - - - - + + - -"),
    ("Audit/ListRefusals", r#"{"from":"2031-05-05T00:00:00Z","to":"2031-05-06T00:00:00Z"}"#,                "- - - - - + + - -"),
];

/// When the week is over.
const NOW: &str = "2031-05-05T09:30:00-04:00";

/// The demo's week, a second buyer with a site and a ticket of its own, and a key for
/// each of [`WHO`].
struct Docks {
    server: Server,
    channel: Channel,
    pool: DescriptorPool,
    week: Week,
    keys: BTreeMap<&'static str, String>,
    names: BTreeMap<String, String>,
}

impl Docks {
    async fn open() -> Docks {
        let server = Server::start();
        let week = send_week(&server, Way::CatchUp).await.week;
        set_clock(&server, NOW).await;
        let channel = Channel::from_shared(server.url.clone()).unwrap();
        let mut docks = Docks {
            channel: channel.connect().await.unwrap(),
            server,
            pool: DescriptorPool::decode(proto::DESCRIPTORS).unwrap(),
            week,
            keys: BTreeMap::new(),
            names: BTreeMap::new(),
        };
        let office = std::fs::read_to_string(&docks.server.key).unwrap();
        docks.keys.insert("office", office.trim().to_owned());
        docks.name_things();
        docks.second_buyer().await;
        for (who, role, party) in WHO.iter().filter(|(who, ..)| *who != "office") {
            let (_, secret) = docks
                .issue(json!({ "name": who, "role": role, "party": party }))
                .await;
            docks.keys.insert(who, secret);
        }
        docks
    }

    fn name(&mut self, name: &str, is: impl Into<String>) {
        self.names.insert(name.to_owned(), is.into());
    }

    fn name_things(&mut self) {
        let office: Vec<Value> = serde_json::from_str(OFFICE).unwrap();
        let first = |kind: &str, of: &str| -> Value {
            let step = office.iter().find(|step| step["deed"].get(kind).is_some());
            step.unwrap()["deed"][kind][of].clone()
        };
        for (kind, of, name) in [
            ("scale", "scale", "scale"),
            ("tote", "tote", "tote"),
            ("priceList", "priceList", "list"),
        ] {
            for site in [1, 2, 7] {
                let mut what = first(kind, of);
                what["site"] = json!(site);
                self.name(&format!("{name}{site}"), what.to_string());
            }
        }
        for (site, buyer) in [(1, "quillet-dock-fish"), (2, "far-shore-fish")] {
            let mut what = first("site", "site");
            what["number"] = json!(site);
            what["buyer"] = json!(buyer);
            self.name(&format!("site{site}"), what.to_string());
            what["currency"] = json!("EUR");
            self.name(&format!("euros{site}"), what.to_string());
        }
        self.name("species", first("species", "species").to_string());
        self.name("lot", LOT);
        for (name, is) in [
            ("monday", r#"{"year":2031,"month":4,"day":28}"#),
            ("sunday", r#"{"year":2031,"month":5,"day":4}"#),
            ("after", r#"{"year":2031,"month":5,"day":6}"#),
            ("later", r#"{"year":2031,"month":6,"day":1}"#),
            (
                "landing",
                r#"{"areas":[{"system":"site","code":"QH-Sill"}]}"#,
            ),
            ("now", NOW),
            ("nothing1", "2031042800019999999"),
            ("nothing2", "2031042800029999999"),
            ("nothing7", "2031042800079999999"),
            ("no_lot1", "20310428000199999991"),
            ("pound", r#"{"decimal":"1.00","unit":"WEIGHT_UNIT_LB"}"#),
            (
                "warm",
                r#"{"decimal":"39.5","unit":"TEMPERATURE_UNIT_FAHRENHEIT"}"#,
            ),
            ("money", r#"{"amountMinor":"1","currency":"USD"}"#),
            (
                "cent",
                r#"{"method":"PAYMENT_METHOD_CURRENCY","amount":{"amountMinor":"1","currency":"USD"}}"#,
            ),
            (
                "fillet",
                r#"{"presentation":"PRESENTATION_FILLET_SKINLESS","fate":"OUTPUT_FATE_DISCARD","weight":{"decimal":"1.00","unit":"WEIGHT_UNIT_LB"},"reason":"r"}"#,
            ),
        ] {
            self.name(name, is);
        }
    }

    /// A second buyer's site with what a weigh-in needs, its first ticket, a key that
    /// was revoked, and one of the week's flags.
    async fn second_buyer(&mut self) {
        let buyer = json!({ "code": "far-shore-fish", "name": "Far Shore Fish", "roles": ["PARTY_ROLE_BUYER"] });
        self.done("Office/RecordParty", &json!({ "party": buyer }).to_string())
            .await;
        for (method, request) in [
            ("Office/RecordSite", r#"{"site":@site2}"#),
            ("Office/RecordScale", r#"{"scale":@scale2}"#),
            ("Office/PostPriceList", r#"{"priceList":@list2}"#),
        ] {
            self.done(method, request).await;
        }
        let request = r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#;
        let booked = self.done("Intake/RecordWeighIn", request).await;
        self.name("far_ticket", booked["ticket"]["id"].as_str().unwrap());
        self.name(
            "far_lot",
            booked["ticket"]["lots"][0]["lotCode"].as_str().unwrap(),
        );
        let request = r#"{"site":1,"from":@monday,"to":@after}"#;
        let flags = self.done("Close/ListFlags", request).await;
        self.name("flag", flags["flags"][0]["key"].as_str().unwrap());
        let (id, secret) = self
            .issue(json!({ "name": "lost", "role": "ROLE_BUYER" }))
            .await;
        let revoke = json!({ "key": id, "reason": "lost at the dock" });
        self.done("Key/RevokeKey", &revoke.to_string()).await;
        self.name("revoked", id);
        self.keys.insert("revoked", secret);
        let soon = json!({ "name": "short", "role": "ROLE_BUYER", "expiresAt": "2031-05-05T09:31:00-04:00" });
        let (_, secret) = self.issue(soon).await;
        self.keys.insert("ended", secret);
        set_clock(&self.server, "2031-05-05T09:31:00-04:00").await;
        self.name("now", "2031-05-05T09:31:00-04:00");
    }

    /// Id and secret of a new key.
    async fn issue(&self, key: Value) -> (String, String) {
        let answer = self.done("Key/IssueKey", &key.to_string()).await;
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        (text(&answer["key"]["id"]), text(&answer["secret"]))
    }

    /// What the office is answered.
    async fn done(&self, method: &str, request: &str) -> Value {
        let answer = self.ask("office", method, request).await;
        let answer = answer.unwrap_or_else(|status| panic!("{method}: {status}"));
        serde_json::to_value(&answer).unwrap()
    }

    fn method(&self, method: &str) -> MethodDescriptor {
        let (service, method) = method.split_once('/').unwrap();
        let service = format!("weighhouse.v1.{service}Service");
        let service = self.pool.get_service_by_name(&service).unwrap();
        service.methods().find(|of| of.name() == method).unwrap()
    }

    /// A request with everything named filled in, and an id of its own.
    fn request(&self, of: &MessageDescriptor, request: &str) -> DynamicMessage {
        let mut text = request.to_owned();
        // The longest first: @lot is the beginning of no other then.
        for (name, is) in self.names.iter().rev() {
            text = text.replace(&format!("@{name}"), is);
        }
        while let Some((before, rest)) = text.split_once("{{") {
            let (name, after) = rest.split_once("}}").unwrap();
            text = format!("{before}{}{after}", self.id(name));
        }
        let mut json: Value = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}: {text}"));
        if of.get_field_by_name("request_id").is_some() {
            json["requestId"] = json!(fresh());
        }
        DynamicMessage::deserialize(of.clone(), json).unwrap_or_else(|e| panic!("{e}: {text}"))
    }

    /// An id of the week, such as `lot:mon-01/2`.
    fn id(&self, name: &str) -> String {
        let (kind, label) = name.split_once(':').unwrap();
        let (label, n) = label.split_once('/').unwrap_or((label, "1"));
        let ids = &self.week.ids()[label];
        match kind {
            "ticket" => ids.ticket.clone(),
            "entry" => ids.entry.clone(),
            "hold" => ids.hold.clone(),
            _ => ids.lots[n.parse::<usize>().unwrap() - 1].clone(),
        }
    }

    async fn ask(&self, who: &str, method: &str, request: &str) -> Result<DynamicMessage, Status> {
        let message = self.request(&self.method(method).input(), request);
        self.send(self.keys.get(who).map(String::as_str), method, message)
            .await
    }

    /// All that was refused in this minute is there to be read, as so many rows that a
    /// flood fills no book.
    async fn hold_refusals_to(&self, refused: i64) {
        let (mut rows, mut times, mut others, mut token) = (0, 0, 0, String::new());
        loop {
            let request = json!({
                "from": "2031-05-05T09:31:00-04:00",
                "to": "2031-05-05T09:32:00-04:00",
                "pageSize": 150,
                "pageToken": token,
            });
            let page = self.done("Audit/ListRefusals", &request.to_string()).await;
            for row in page["refusals"].as_array().unwrap() {
                let of: i64 = row["times"].as_str().unwrap().parse().unwrap();
                (rows, times) = (rows + 1, times + of);
                others += if row["actor"] == "others" { of } else { 0 };
            }
            match page["nextPageToken"].as_str() {
                Some(next) if !next.is_empty() => next.clone_into(&mut token),
                _ => break,
            }
        }
        assert_eq!((rows, times), (201, refused));
        assert!(others > 0);
    }

    async fn send(
        &self,
        key: Option<&str>,
        method: &str,
        message: DynamicMessage,
    ) -> Result<DynamicMessage, Status> {
        let of = self.method(method);
        let path = format!("/{}/{}", of.parent_service().full_name(), of.name());
        let mut request = Request::new(message);
        if let Some(key) = key {
            let shown = format!("Bearer {key}").parse().unwrap();
            request.metadata_mut().insert("authorization", shown);
        }
        let mut grpc = tonic::client::Grpc::new(self.channel.clone());
        grpc.ready().await.unwrap();
        let codec = Described(of.output());
        let answer = grpc.unary(request, path.parse().unwrap(), codec).await?;
        Ok(answer.into_inner())
    }
}

/// Messages by their descriptors, so that a method needs no type of its own here.
#[derive(Clone)]
struct Described(MessageDescriptor);

impl Codec for Described {
    type Encode = DynamicMessage;
    type Decode = DynamicMessage;
    type Encoder = Described;
    type Decoder = Described;

    fn encoder(&mut self) -> Described {
        self.clone()
    }

    fn decoder(&mut self) -> Described {
        self.clone()
    }
}

impl Encoder for Described {
    type Item = DynamicMessage;
    type Error = Status;

    fn encode(&mut self, item: DynamicMessage, into: &mut EncodeBuf<'_>) -> Result<(), Status> {
        use prost_reflect::prost::Message as _;
        item.encode(into)
            .map_err(|e| Status::internal(e.to_string()))
    }
}

impl Decoder for Described {
    type Item = DynamicMessage;
    type Error = Status;

    fn decode(&mut self, from: &mut DecodeBuf<'_>) -> Result<Option<DynamicMessage>, Status> {
        let message = DynamicMessage::decode(self.0.clone(), from);
        message
            .map(Some)
            .map_err(|e| Status::internal(e.to_string()))
    }
}

/// The sign of [`ROWS`] for what came of a request.
fn sign(code: Code) -> &'static str {
    match code {
        Code::Ok => "+",
        Code::PermissionDenied => "-",
        Code::InvalidArgument => "?",
        Code::FailedPrecondition => "!",
        Code::NotFound => "0",
        _ => "unheard of",
    }
}

/// Paths of everything that is money or a price in a message, and every text in it.
fn read_through(message: &DynamicMessage, at: &str, money: &mut Vec<String>, texts: &mut String) {
    fn read(value: &prost_reflect::Value, at: &str, money: &mut Vec<String>, texts: &mut String) {
        match value {
            prost_reflect::Value::Message(inner) => read_through(inner, at, money, texts),
            prost_reflect::Value::List(list) => {
                for (n, value) in list.iter().enumerate() {
                    read(value, &format!("{at}[{n}]"), money, texts);
                }
            }
            prost_reflect::Value::String(text) => *texts = format!("{texts}{at}: {text}\n"),
            _ => {}
        }
    }
    if ["Money", "UnitPrice"].contains(&message.descriptor().name()) {
        money.push(at.to_owned());
    }
    for (field, value) in message.fields() {
        read(value, &format!("{at}.{}", field.name()), money, texts);
    }
}

/// Holds an answer to who may see what (5.2, 5.5): a kitchen no money at all, a diver
/// nothing of another diver or of where the fish went.
fn shows_nobody_elses(who: &str, method: &str, answer: &DynamicMessage) {
    let (mut money, mut texts) = (Vec::new(), String::new());
    read_through(answer, "", &mut money, &mut texts);
    match who {
        "hill" | "bess" => {
            assert_eq!(money, [""; 0], "{who} {method}");
            // Of a site they are told which money it keeps its books in.
            let tells_of_a_site = ["Office/ListSites", "Outlet/GetDispatchNote"];
            let code = texts.contains("USD") && !tells_of_a_site.contains(&method);
            assert!(!code, "{who} {method}: {texts}");
        }
        "wren" => {
            for other in [
                "osric", "mara", "jonas", "teodor", "lenka", "dell", "skiff", "hill", "varnley",
                "pantry",
            ] {
                assert!(
                    !texts.to_lowercase().contains(other),
                    "{who} {method}: {other}"
                );
            }
        }
        _ => {}
    }
}

/// All that a caller can see of a refusal.
fn bytes(status: &Status) -> (Code, String, Vec<u8>) {
    let message = status.message().to_owned();
    (status.code(), message, status.details().to_vec())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn only_who_may_reaches_a_method_and_all_others_are_refused_alike() {
    let docks = Docks::open().await;
    let short = |path: &String| {
        path.trim_start_matches("/weighhouse.v1.")
            .replace("Service/", "/")
    };
    let methods: BTreeSet<String> = proto::methods().iter().map(short).collect();
    let tried: BTreeSet<String> = ROWS
        .iter()
        .map(|(method, ..)| (*method).to_owned())
        .collect();
    // It has a test of its own: a stream is not refused, its items are.
    let streams = BTreeSet::from(["Intake/CatchUp".to_owned()]);
    let untried: Vec<_> = methods.difference(&tried).cloned().collect();
    assert_eq!(untried, Vec::from_iter(streams), "a method without a row");

    let (mut cases, mut refused, mut wrong) = (0, 0, Vec::new());
    let mut refusals = BTreeMap::new();
    for (method, request, must) in ROWS {
        let must: Vec<&str> = must.split_whitespace().collect();
        assert_eq!(must.len(), WHO.len(), "{method} {request}");
        for ((who, ..), must) in WHO.iter().zip(must) {
            let answer = docks.ask(who, method, request).await;
            let code = answer.as_ref().err().map_or(Code::Ok, Status::code);
            let said = answer.as_ref().err().map_or("+", Status::message);
            if let Ok(answer) = &answer {
                shows_nobody_elses(who, method, answer);
            }
            if sign(code) != must {
                wrong.push(format!("{who} {method} {request}: {must}, came {said}"));
            }
            if let Err(status) = answer
                && status.code() == Code::PermissionDenied
            {
                let of = refusals.entry(format!("{:?}", bytes(&status)));
                of.or_insert_with(|| format!("{who} {method} {request}"));
            }
            cases += 1;
            refused += i64::from(code != Code::Ok);
        }
    }
    assert!(
        wrong.is_empty(),
        "{} wrong:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    assert_eq!(refusals.len(), 1, "told apart: {refusals:#?}");

    // Whoever shows no key that works gets no further than the gate, and cannot tell an
    // ended or revoked key from one that never was.
    let unknown = format!("whkey_{}", "5e".repeat(32));
    let (ended, revoked) = (&docks.keys["ended"], &docks.keys["revoked"]);
    for method in &tried {
        let (_, request, _) = ROWS.iter().find(|(of, ..)| of == method).unwrap();
        let mut said = BTreeSet::new();
        for key in [&unknown, ended, revoked] {
            let message = docks.request(&docks.method(method).input(), request);
            let status = docks.send(Some(key), method, message).await.unwrap_err();
            assert_eq!(status.code(), Code::Unauthenticated, "{method}");
            said.insert(format!("{:?}", bytes(&status)));
            cases += 1;
            refused += 1;
        }
        assert_eq!(said.len(), 1, "{method}: {said:?}");
        for shown in [None, Some("")] {
            let message = docks.request(&docks.method(method).input(), request);
            let status = docks.send(shown, method, message).await.unwrap_err();
            assert_eq!(status.code(), Code::Unauthenticated, "{method}");
            cases += 1;
            refused += 1;
        }
    }
    // And whoever floods the book with refusals of other kinds.
    for method in &tried {
        for who in ["wren", "tarn", "hill", "bess", "far buyer"] {
            refused += i64::from(docks.ask(who, method, "{}").await.is_err());
        }
    }
    docks.hold_refusals_to(refused).await;
    println!("{cases} cases of {} methods tried", tried.len());
    assert!(cases > 1_000, "{cases}");
}

/// A list of days of the week, a page at a time.
async fn pages(docks: &Docks, who: &str, size: i64) -> (Vec<Value>, Vec<String>) {
    let (mut tickets, mut tokens) = (Vec::new(), vec![String::new()]);
    loop {
        let token = tokens.last().unwrap();
        let request = format!(
            r#"{{"site":1,"from":@monday,"to":@after,"pageSize":{size},"pageToken":"{token}"}}"#
        );
        let page = docks
            .ask(who, "Intake/ListTickets", &request)
            .await
            .unwrap();
        let mut page = serde_json::to_value(&page).unwrap();
        let on_it = page["tickets"]
            .as_array_mut()
            .map(std::mem::take)
            .unwrap_or_default();
        assert!(on_it.len() <= usize::try_from(size).unwrap());
        tickets.extend(on_it);
        match page["nextPageToken"].as_str() {
            Some(next) if !next.is_empty() => tokens.push(next.to_owned()),
            _ => return (tickets, tokens),
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_payee_sees_the_weights_of_a_shared_ticket_and_only_their_own_money() {
    let docks = Docks::open().await;
    // Everything that money can stand in: an agreed price, adjustments, what was shown
    // without signal, a line held and released, a note, a dispute, a payment.
    let agreed = r#"{"agreedPrice":{"site":1,"harvester":"mara-denby","species":"PZO","presentation":"PRESENTATION_WHOLE","to":"2031-05-09T06:00:00-04:00","price":{"decimal":"7.77","currency":"USD","per":"WEIGHT_UNIT_LB"},"reason":"agreed at 7.77 USD"}}"#;
    docks.done("Office/RecordAgreedPrice", agreed).await;
    set_clock(&docks.server, "2031-05-05T09:40:00-04:00").await;
    let shared = r#"{"site":1,"harvester":"mara-denby","landing":@landing,"confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot,@held],"payees":[{"party":"skiff-tarn","percent":"30"},{"party":"mara-denby","percent":"70"}],"adjustments":[{"name":"ice","kind":"ADJUSTMENT_KIND_SETTLEMENT","flat":{"amountMinor":"-125","currency":"USD"}}],"firstReadingAt":"2031-05-05T09:39:00-04:00","sentAt":"2031-05-05T09:40:00-04:00","offline":{"payoutShown":{"amountMinor":"60001","currency":"USD"}},"note":"she was told 600.01 USD"}"#;
    let held = LOT.replace(
        "\"weighings\"",
        r#""receiving":{"decision":"DECISION_HOLD","reason":"warm"},"weighings""#,
    );
    let shared = shared.replace("@held", &held);
    let booked = docks.done("Intake/RecordWeighIn", &shared).await;
    let lines = booked["ticket"]["lines"].as_array().unwrap();
    let hold = lines.iter().find_map(|line| line["holdId"].as_str());
    let release = json!({ "holdId": hold.unwrap(), "reason": "cold again" });
    docks.done("Stock/ReleaseHold", &release.to_string()).await;
    let rewrites = json!({ "ticket": booked["ticket"]["id"], "reason": "the note was missing" });
    let again = format!(r#"{{"rewrites":{rewrites},{}"#, &shared[1..]);
    let booked = docks.done("Intake/RecordWeighIn", &again).await;
    let written = booked["ticket"]["id"].as_str().unwrap().to_owned();
    let request = json!({ "ticket": written, "line": 1, "text": "she says 300.00 USD" });
    docks
        .done("Settlement/DisputeLine", &request.to_string())
        .await;
    let settle = r#"{"site":1,"payee":"skiff-tarn","scope":{"tickets":["TICKET"]}}"#
        .replace("TICKET", &written);
    let preview = docks
        .ask("tarn", "Settlement/PreviewSettlement", &settle)
        .await
        .unwrap();
    for ticket in [docks.id("ticket:tue-12"), written.clone()] {
        let request = json!({ "ticket": ticket }).to_string();
        let whole = docks.done("Intake/GetTicket", &request).await["ticket"].clone();
        let seen = docks
            .ask("tarn", "Intake/GetTicket", &request)
            .await
            .unwrap();
        let (mut money, mut texts) = (Vec::new(), String::new());
        read_through(&seen, "", &mut money, &mut texts);
        let own = [
            ".ticket.owed",
            ".ticket.held",
            ".ticket.payee_amounts[0].owed",
            ".ticket.payee_amounts[0].held",
        ];
        let (money, own): (BTreeSet<_>, BTreeSet<_>) =
            (money.into_iter().collect(), own.map(str::to_owned).into());
        assert_eq!(money, own);
        let named: Vec<&str> = texts.lines().filter(|line| line.contains("USD")).collect();
        assert!(
            named.iter().all(|line| line.ends_with(".currency: USD")),
            "{named:?}"
        );
        let seen = serde_json::to_value(&seen).unwrap()["ticket"].clone();
        let amounts = whole["payeeAmounts"].as_array().unwrap();
        let mine = amounts
            .iter()
            .find(|of| of["party"] == "skiff-tarn")
            .unwrap();
        assert_eq!(seen["payeeAmounts"], json!([mine]));
        assert_eq!(
            (&seen["owed"], &seen["held"]),
            (&mine["owed"], &mine["held"])
        );
        assert_ne!(seen["owed"], whole["owed"], "a share of it");
        for weights in ["lots", "notBought", "undersize"] {
            assert_eq!(seen[weights], whole[weights], "{weights}");
        }
        let nets = |of: &Value| -> Vec<Value> {
            of["lines"]
                .as_array()
                .unwrap()
                .iter()
                .map(|line| line["net"].clone())
                .collect()
        };
        assert_eq!(nets(&seen), nets(&whole));
        // Whoever looks at a ticket alone sees no more than who lists it.
        let (listed, _) = pages(&docks, "tarn", 200).await;
        assert!(listed.contains(&seen), "{listed:?}");
    }
    let whole = docks
        .done(
            "Intake/GetTicket",
            &json!({ "ticket": written }).to_string(),
        )
        .await;
    let texts = whole.to_string();
    for said in [
        "600.01 USD",
        "agreed at 7.77 USD",
        "-125",
        "she says 300.00 USD",
    ] {
        assert!(texts.contains(said), "nothing was hidden: {said}");
    }

    // The harvester of record has a share too, and no more.
    let request = r#"{"site":1,"party":"mara-denby","from":@monday,"to":@after}"#;
    let (_, secret) = docks
        .issue(json!({ "name": "mara", "role": "ROLE_DIVER", "party": "mara-denby" }))
        .await;
    let method = docks.method("Statement/GetStatement");
    let message = docks.request(&method.input(), request);
    let statement = docks
        .send(Some(&secret), "Statement/GetStatement", message)
        .await
        .unwrap();
    let statement = serde_json::to_value(&statement).unwrap()["statement"].clone();
    let disputes = statement["disputes"].as_array().unwrap();
    assert_eq!(disputes.len(), 1);
    assert_eq!(disputes[0].get("amount"), None, "of the whole line");
    let request = r#"{"site":1,"party":"skiff-tarn","from":@monday,"to":@after}"#;
    let statement = docks
        .ask("tarn", "Statement/GetStatement", request)
        .await
        .unwrap();
    let statement = serde_json::to_value(&statement).unwrap()["statement"].clone();
    let rows = statement["rows"].as_array().unwrap();
    let cents = |of: &Value| -> i64 {
        let minor = of["amountMinor"].as_str();
        minor.map_or(0, |text| text.parse().unwrap())
    };
    let of_the_day = rows
        .iter()
        .filter(|row| row["payDay"]["month"] == 5 && row["payDay"]["day"] == 5);
    let amounts = whole["ticket"]["payeeAmounts"].as_array().unwrap();
    let mine = amounts
        .iter()
        .find(|of| of["party"] == "skiff-tarn")
        .unwrap();
    // What was held on the ticket was released since.
    let theirs = cents(&mine["owed"]) + cents(&mine["held"]);
    assert_eq!(
        of_the_day.map(|row| cents(&row["owed"])).sum::<i64>(),
        theirs
    );
    assert_eq!(theirs, 18_000, "30 % of 600.01, by cents");
    let preview = serde_json::to_value(&preview).unwrap();
    let items = preview["settlement"]["items"].as_array().unwrap();
    assert_eq!(
        items.iter().map(|item| cents(&item["amount"])).sum::<i64>(),
        theirs
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_diver_pages_through_their_own_and_shared_tickets_and_no_token_leads_further() {
    let docks = Docks::open().await;
    let all = pages(&docks, "office", 200).await.0;
    for (who, party) in [("wren", "wren-haldane"), ("tarn", "skiff-tarn")] {
        let is_theirs = |ticket: &&Value| {
            let payees = ticket["payees"].as_array();
            let shared = payees.is_some_and(|all| all.iter().any(|of| of["party"] == party));
            ticket["harvester"] == party || shared
        };
        let theirs: Vec<&Value> = all
            .iter()
            .filter(is_theirs)
            .map(|ticket| &ticket["id"])
            .collect();
        for size in [1, 2, 200] {
            let (listed, tokens) = pages(&docks, who, size).await;
            let listed: Vec<&Value> = listed.iter().map(|ticket| &ticket["id"]).collect();
            assert_eq!(listed, theirs, "{who} {size}");
            assert_eq!(
                tokens.len(),
                theirs.len().div_ceil(usize::try_from(size).unwrap())
            );
        }
    }
    // A token of another's list says where to go on, and shows nothing of it.
    let of_wren = pages(&docks, "wren", 1).await.1[1].clone();
    let with = |more: &str| {
        format!(r#"{{"site":1,"from":@monday,"to":@after,"pageToken":"{of_wren}"{more}}}"#)
    };
    let page = docks
        .ask("tarn", "Intake/ListTickets", &with(""))
        .await
        .unwrap();
    let page = serde_json::to_value(&page).unwrap();
    for ticket in page["tickets"].as_array().unwrap() {
        assert_eq!(ticket["id"], json!(docks.id("ticket:tue-12")));
    }
    let other_list = docks
        .ask(
            "wren",
            "Intake/ListTickets",
            &with(r#","harvester":"osric-pell""#),
        )
        .await;
    assert_eq!(other_list.unwrap_err().code(), Code::InvalidArgument);
    let flags = docks.ask("office", "Close/ListFlags", &with("")).await;
    assert_eq!(flags.unwrap_err().code(), Code::InvalidArgument);
    let refused = docks
        .ask(
            "wren",
            "Close/ListFlags",
            r#"{"site":1,"from":@monday,"to":@after}"#,
        )
        .await;
    assert_eq!(refused.unwrap_err().code(), Code::PermissionDenied);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn another_callers_request_id_gives_nothing_away() {
    let docks = Docks::open().await;
    let send = async |who: &str, method: &str, request: &str, id: &str| {
        let mut message = docks.request(&docks.method(method).input(), request);
        message.set_field_by_name("request_id", prost_reflect::Value::String(id.to_owned()));
        docks
            .send(docks.keys.get(who).map(String::as_str), method, message)
            .await
    };
    let weigh_in = r#"{"site":1,"harvester":"wren-haldane","landing":@landing,"confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#;
    let method = "Intake/RecordWeighIn";
    let id = fresh();
    let first = send("office", method, weigh_in, &id).await.unwrap();
    // Whoever may do the same deed for the same book gets its answer; whoever may not,
    // does not, though it is there.
    assert_eq!(send("buyer", method, weigh_in, &id).await.unwrap(), first);
    for who in ["wren", "tarn", "hill", "auditor", "far buyer", "far office"] {
        let status = send(who, method, weigh_in, &id).await.unwrap_err();
        assert_eq!(status.code(), Code::PermissionDenied, "{who}");
    }
    let mut said = BTreeSet::new();
    let far = r#"{"site":2,"harvester":"wren-haldane","confirmation":"CONFIRMATION_BY_DIVER","lots":[@lot]}"#;
    let cut = r#"{"site":1,"kind":"MAKING_KIND_CUSTOMER_CUT","inputs":[{"dispatch":"{{entry:mon-08}}","weight":@pound}],"outputs":[@fillet],"specification":"skinless","kitchen":"hill-kitchen"}"#;
    let dispute = r#"{"ticket":"{{ticket:sat-13}}","line":1,"text":"t"}"#;
    for (who, method, request) in [
        ("far buyer", method, far),
        ("hill", "Stock/RecordMaking", cut),
        ("wren", "Settlement/DisputeLine", dispute),
        ("office", "Stock/RecordMaking", cut),
    ] {
        let status = send(who, method, request, &id).await.unwrap_err();
        assert_eq!(status.code(), Code::AlreadyExists, "{who}: {status}");
        said.insert(format!("{:?}", bytes(&status)));
    }
    assert_eq!(said.len(), 1, "{said:?}");
    // Of one diver's deed another is not told either, nor that it was theirs.
    let id = fresh();
    send("wren", "Settlement/DisputeLine", dispute, &id)
        .await
        .unwrap();
    let status = send("tarn", "Settlement/DisputeLine", dispute, &id)
        .await
        .unwrap_err();
    assert_eq!(status.code(), Code::PermissionDenied);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_a_stream_each_deed_is_refused_alone_and_the_stream_goes_on() {
    let docks = Docks::open().await;
    let deed = docks
        .pool
        .get_message_by_name("weighhouse.v1.Deed")
        .unwrap();
    let mut arms = BTreeSet::new();
    for (n, (who, ..)) in WHO.iter().enumerate() {
        let mut items = Vec::new();
        for (method, request, must) in ROWS {
            let input = docks.method(method).input();
            let arm = deed
                .fields()
                .find(|field| field.kind().as_message() == Some(&input));
            let Some(arm) = arm.filter(|_| must.split_whitespace().nth(n) == Some("-")) else {
                continue;
            };
            arms.insert(arm.name().to_owned());
            let mut wrapped = DynamicMessage::new(deed.clone());
            let message = docks.request(&input, request);
            wrapped.set_field(&arm, prost_reflect::Value::Message(message));
            items.push(Item::Deed(wrapped.transcode_to().unwrap()));
        }
        let refused = items.len();
        let site = if who.starts_with("far") { 2 } else { 1 };
        items.push(Item::Open(v1::CatchUpOpen {
            request_id: fresh(),
            site,
            device: if site == 1 { "dock-tablet" } else { "no-such" }.to_owned(),
            queued: 0,
        }));
        let items = items
            .into_iter()
            .map(|item| v1::CatchUpRequest { item: Some(item) });
        let mut request = Request::new(tokio_stream::iter(items.collect::<Vec<_>>()));
        let shown = format!("Bearer {}", docks.keys[who]).parse().unwrap();
        request.metadata_mut().insert("authorization", shown);
        let mut client = IntakeServiceClient::new(docks.channel.clone());
        let answers = client.catch_up(request).await.unwrap().into_inner();
        let answers: Vec<v1::CatchUpResponse> = answers.collect::<Result<_, _>>().await.unwrap();
        assert_eq!(answers.len(), refused + 1, "{who}");
        let mut said = BTreeSet::new();
        for answer in &answers[..refused] {
            let bare = v1::CatchUpResponse {
                request_id: String::new(),
                ..answer.clone()
            };
            said.insert(format!("{bare:?}"));
            assert_eq!(
                answer.code,
                i32::from(Code::PermissionDenied),
                "{who}: {answer:?}"
            );
        }
        assert!(said.len() <= 1, "{who}: {said:?}");
        // What was last in it was looked at like the first.
        let opened = match *who {
            "buyer" | "office" => Code::Ok,
            "far buyer" | "far office" => Code::InvalidArgument,
            _ => Code::PermissionDenied,
        };
        assert_eq!(
            answers[refused].code,
            i32::from(opened),
            "{who}: {answers:?}"
        );
    }
    let untried: Vec<_> = deed
        .fields()
        .filter(|arm| !arms.contains(arm.name()))
        .collect();
    assert!(untried.is_empty(), "deeds without a row: {untried:?}");
}
