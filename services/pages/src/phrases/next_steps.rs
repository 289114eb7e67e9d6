//! What a person can do first about a flag.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    (
        "Count it again, and look for a ticket, movement or cut that was not entered.",
        "Cuéntelo otra vez, y busque un boleto, un movimiento o un corte sin anotar.",
    ),
    (
        "Look at the parts with the largest differences, each too small for a flag alone.",
        "Mire las fracciones con las diferencias más grandes, cada una demasiado pequeña para un aviso propio.",
    ),
    (
        "Look into both bins; if they were mixed up, count both again.",
        "Mire en los dos recipientes; si se confundieron, cuente los dos otra vez.",
    ),
    (
        "Ask the cutter what was not weighed; weigh frames and trim of the next cut.",
        "Pregunte a quien cortó qué no se pesó; pese los espinazos y recortes del próximo corte.",
    ),
    (
        "Look for an input that was not entered; let fillet drain before it is weighed.",
        "Busque una entrada sin anotar; deje escurrir el filete antes de pesarlo.",
    ),
    (
        "Look for a wrong part, or a weigh-in that was not entered.",
        "Busque una fracción equivocada, o un pesaje de entrada sin anotar.",
    ),
    (
        "Count it: the book thought that nothing was left.",
        "Cuéntelo: el libro creía que no quedaba nada.",
    ),
    (
        "Release it or throw it out; the local code decides what may be released.",
        "Libérelo o tírelo; las normas locales deciden qué se puede liberar.",
    ),
    (
        "Count it now; a count still closes its day.",
        "Cuéntelo ahora; un conteo todavía cierra su día.",
    ),
    (
        "Bring the device where it has signal, and let it send.",
        "Lleve el dispositivo a donde tenga señal, y deje que envíe.",
    ),
    (
        "Tell the diver; the price that was shown and confirmed binds.",
        "Dígaselo al buzo; vale el precio que se mostró y se confirmó.",
    ),
    (
        "Set the device's clock.",
        "Ponga en hora el reloj del dispositivo.",
    ),
    ("Answer it.", "Conteste."),
    (
        "Hold it and probe it; the local code decides what may become of it.",
        "Reténgalo y mídalo; las normas locales deciden qué se puede hacer con él.",
    ),
    (
        "Put a known weight on both, and have the scales tested.",
        "Ponga un peso conocido en las dos, y haga verificar las básculas.",
    ),
    (
        "Sell it, freeze it or throw it out; the local code decides what may still be sold.",
        "Véndalo, congélelo o tírelo; las normas locales deciden qué se puede vender todavía.",
    ),
    (
        "Look at the next lot together with the diver, who may answer; it changes nobody's pay.",
        "Mire el próximo lote junto con el buzo, que puede contestar; no cambia el pago de nadie.",
    ),
    (
        "Find it a place today, freeze it or throw it out; the local code decides what may still be eaten.",
        "Búsquele lugar hoy, congélelo o tírelo; las normas locales deciden qué se puede comer todavía.",
    ),
    (
        "Tell who was to get it; plan again for what is left.",
        "Avise a quien lo iba a recibir; planee otra vez lo que queda.",
    ),
    (
        "Look at the knife, the specification and the fish of the days since.",
        "Mire el cuchillo, la especificación y el pescado de los días desde entonces.",
    ),
];
