//! What the rules say of made-up cases, in Spanish.

use std::collections::BTreeMap;

use rules::close::FlagKind;
use rules::fish::{Condition, Hazard, Presentation};
use rules::office::{Settings, Species};
use rules::supplier_yield::drift::{self, Charts, Drift, Leap, Watch};
use rules::supplier_yield::{
    self, Cause, Comparison, CutFact, CutShare, SupplierYield, Verdict, YieldRules,
};
use rules::ticket::caution::cautions;
use rules::ticket::{Decision, SmallFish};
use rules::undersize;
use rules::weight::WeightUnit;

use crate::phrases::spanish;

fn check(english: &str) -> String {
    let said = spanish(english);
    said.unwrap_or_else(|| panic!("no Spanish: {english}"))
}

#[test]
fn every_kind_of_flag_has_its_next_step() {
    let said: BTreeMap<String, FlagKind> = FlagKind::ALL
        .iter()
        .map(|kind| (check(kind.next_step()), *kind))
        .collect();
    assert_eq!(said.len(), FlagKind::ALL.len(), "each its own");
}

/// Verdicts and causes, every one: a new one does not compile until it stands here.
fn verdicts() -> Vec<Verdict> {
    let of = |cause: &Cause| match cause {
        Cause::Cutter(_)
        | Cause::Kitchen(_)
        | Cause::Band(_)
        | Cause::Condition(_)
        | Cause::Supplier(_)
        | Cause::Together => Verdict::NotSeparable(cause.clone()),
    };
    let named = |name: &str| name.to_owned();
    let mut causes = vec![
        Cause::Condition(None),
        Cause::Condition(Some(Condition::Torn)),
        Cause::Condition(Some(Condition::Body)),
        Cause::Together,
    ];
    for name in ["", "ana"] {
        causes.push(Cause::Cutter(named(name)));
        causes.push(Cause::Kitchen(named(name)));
        causes.push(Cause::Band(named(name)));
        causes.push(Cause::Supplier(named(name)));
    }
    let mut verdicts: Vec<Verdict> = causes.iter().map(of).collect();
    let others = [
        Verdict::Low,
        Verdict::NoDifference,
        Verdict::SupplierOrKitchen,
        Verdict::TooLittle,
        Verdict::Alone,
        Verdict::NoCutLeft,
    ];
    for verdict in &others {
        match verdict {
            Verdict::NotSeparable(_) => unreachable!("these are above"),
            Verdict::Low
            | Verdict::NoDifference
            | Verdict::SupplierOrKitchen
            | Verdict::TooLittle
            | Verdict::Alone
            | Verdict::NoCutLeft => {}
        }
    }
    verdicts.extend(others);
    verdicts
}

fn supplier() -> SupplierYield {
    let lb = |text: &str| WeightUnit::Lb.weigh(text).unwrap();
    let cut = CutFact {
        entry: 1,
        day: 20_310_502,
        happened_us: 0,
        cutter: "ana".to_owned(),
        kitchen: String::new(),
        specification: "skinless".to_owned(),
        species: "PZO".to_owned(),
        presentation: Presentation::Whole,
        inputs: vec![CutShare {
            supplier: "ana".to_owned(),
            band: String::new(),
            condition: None,
            pieces: None,
            weight: lb("61.20"),
        }],
        fillet: lb("15.00"),
        minutes_e2: None,
    };
    let groups = supplier_yield::judge(&[cut], &YieldRules::default(), &[]);
    groups[0].suppliers[0].clone()
}

#[test]
fn whatever_may_be_said_of_a_supplier_has_its_spanish() {
    let mut said = 0;
    for verdict in verdicts() {
        for interval_e2 in [(-340, -210), (-100, 40), (20, 150)] {
            let comparison = Comparison {
                rest_e2: (interval_e2.0 + interval_e2.1) / 2,
                error_e2: 60,
                interval_e2,
                chance_ppm: 0,
            };
            let mut own = supplier();
            own.verdict = verdict.clone();
            own.comparison = Some(comparison);
            check(&supplier_yield::sentence(&own));
            said += 1;
        }
    }
    assert!(said > 50, "{said}");
    let mut low = supplier();
    (low.verdict, low.cuts, low.days) = (Verdict::Low, 7, 4);
    low.comparison = Some(Comparison {
        rest_e2: -275,
        error_e2: 30,
        interval_e2: (-340, -210),
        chance_ppm: 0,
    });
    assert_eq!(
        check(&supplier_yield::sentence(&low)),
        "rinde 2.8 puntos menos que el pescado comparable de otros (intervalo del 95 %: de 3.4 \
         menos a 2.1 menos; 7 cortes, 61.20 lb, 4 días)"
    );
}

#[test]
fn whatever_a_control_chart_says_has_its_spanish() {
    let leap = Leap {
        entry: 1,
        day: 20_310_502,
        below: true,
    };
    let drift = Drift {
        since: 20_310_430,
        cuts: 1,
        found: 20_310_502,
        below: true,
        shift_e2: -231,
    };
    let charts = Charts {
        baseline_cuts: 8,
        points: Vec::new(),
        single_limit_e2: 300,
        ewma_limit_e2: 100,
        cusum_limit_e2: 500,
        single: None,
        ewma: None,
        cusum: None,
    };
    let above = Leap {
        below: false,
        ..leap
    };
    let all = [
        Watch::NoBaseline,
        Watch::BaselineTooThin { cuts: 3, least: 8 },
        Watch::Charts(charts.clone()),
        Watch::Charts(Charts {
            single: Some(leap),
            ..charts.clone()
        }),
        Watch::Charts(Charts {
            ewma: Some(above),
            ..charts.clone()
        }),
        Watch::Charts(Charts {
            cusum: Some(Drift { cuts: 9, ..drift }),
            ..charts.clone()
        }),
    ];
    for watch in &all {
        match watch {
            Watch::NoBaseline | Watch::BaselineTooThin { .. } | Watch::Charts(_) => {}
        }
        check(&drift::sentence(watch));
    }
    let dated = Watch::Charts(Charts {
        cusum: Some(drift),
        ..charts
    });
    assert_eq!(
        check(&drift::sentence(&dated)),
        "desde el 2031-04-30, 2.3 puntos menos que en su línea base (suma acumulada; 1 corte, \
         hallado el 2031-05-02)"
    );
}

fn species(hazards: &[Hazard]) -> Species {
    Species {
        code: "GPR".to_owned(),
        name: "red grouper".to_owned(),
        scientific_name: String::new(),
        hazards: hazards.to_vec(),
        lightest: None,
        heaviest: None,
    }
}

/// Word for word: whoever changes a caution in English is to look at its Spanish, and
/// what can hurt somebody must not be softened.
#[test]
fn cautions_are_as_exact_in_spanish() {
    let fish = species(Hazard::ALL);
    let said: BTreeMap<String, String> = cautions(&[&fish], &[&fish], true)
        .iter()
        .map(|notice| (notice.code.clone(), check(&notice.text)))
        .collect();
    let expected = [
        (
            "venomous_spines",
            "red grouper: las espinas siguen siendo venenosas después de muerto el pez. Si hay \
             pinchazo: agua caliente, tanto como se aguante sin quemarse, y atención médica. Esto \
             no es consejo médico.",
        ),
        (
            "ciguatera",
            "red grouper: puede llevar ciguatera, y cocinar no elimina la toxina. El pescado de \
             un área de la lista de áreas de riesgo del sitio se rechaza, y solo se retiene \
             mientras el área no esté clara. La lista es del comprador: un área que no está en \
             ella no se sabe segura.",
        ),
        (
            "cold",
            "El pescado por encima del límite del sitio (41 F / 5 C si no hay otro) al salir no \
             va a nadie; si llegó más caliente, póngalo en hielo, mídalo otra vez y anote lo que \
             se hizo.",
        ),
        (
            "allergen",
            "Alérgeno: pescado (red grouper). Dígalo en todo lo que salga para una cocina o un \
             beneficiario.",
        ),
        (
            "donation",
            "Done solo alimento en aparente buen estado; rigen además las normas sanitarias \
             locales.",
        ),
        (
            "local_codes",
            "Todo esto cede ante las normas locales y ante personas con licencia o formación: \
             ellas van primero.",
        ),
    ];
    let expected: BTreeMap<String, String> = expected
        .map(|(code, text)| (code.to_owned(), text.to_owned()))
        .into();
    assert_eq!(said, expected);
}

#[test]
fn whatever_is_proposed_for_small_fish_has_its_reason_in_spanish() {
    let mut reasons = Vec::new();
    for hazards in [&[][..], &[Hazard::Ciguatera][..]] {
        for condition in [None, Some(Condition::Torn)] {
            for decision in Decision::ALL {
                for small in SmallFish::ALL {
                    for form in Presentation::ALL {
                        let (_, reason) = undersize::propose(
                            &species(hazards),
                            *form,
                            condition,
                            *decision,
                            *small,
                            &Settings::default(),
                        );
                        reasons.push(check(&reason));
                    }
                }
            }
        }
    }
    reasons.sort();
    reasons.dedup();
    assert!(reasons.len() > 5, "{reasons:?}");
    let headed = "Antes, eviscerado y sin cabeza: riesgo de ciguatera.";
    assert!(reasons.iter().any(|of| of.ends_with(headed)), "{reasons:?}");
}
