//! Titles, keys, descriptions and headings of charts and of their tables.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    // The balance of a day.
    (
        "Weight of the day, step by step",
        "Peso del día, paso a paso",
    ),
    (
        "Black is on hand, pale came in, grey went.",
        "Negro es la existencia, claro lo que entró, gris lo que salió.",
    ),
    (
        "On hand at the start: {opening:weight}. Came: {came:name}. Went: {went:name}. On hand at the end: {closing:weight}.",
        "Existencia al principio: {opening}. Entró: {came}. Salió: {went}. Existencia al final: {closing}.",
    ),
    ("nothing", "nada"),
    ("on hand at the start", "existencia al principio"),
    ("bought", "comprado"),
    ("brought back", "devuelto"),
    ("made into lots", "hecho lotes"),
    ("into makings", "a elaboraciones"),
    ("drip expected", "escurrimiento esperado"),
    ("unaccounted", "sin explicar"),
    ("more than the book says", "más de lo que dice el libro"),
    ("on hand at the end", "existencia al final"),
    ("thrown out at the table", "tirado en la mesa"),
    ("cutting loss", "merma del corte"),
    ("beyond the allowance", "más allá de lo admitido"),
    ("there was", "había"),
    ("went", "salió"),
    ("is", "hay"),
    ("of what went into makings", "de lo que fue a elaboraciones"),
    // Yields of suppliers.
    (
        "{species:name}, {form:term} to {specification:name}, own table",
        "{species}, {form} a {specification}, mesa propia",
    ),
    (
        "{species:name}, {form:term} to {specification:name}, customers' kitchens",
        "{species}, {form} a {specification}, cocinas de clientes",
    ),
    (
        "Yield by supplier: {group:name}",
        "Rendimiento por proveedor: {group}",
    ),
    (
        "A dot is a yield as cut, the line through it its 95 % interval where there is one, the dashes what it is held against. In the order of codes, not of yields.",
        "Un punto es un rendimiento como se cortó, la línea que lo cruza su intervalo del 95 % donde lo hay, los trazos aquello con que se compara. En el orden de los códigos, no de los rendimientos.",
    ),
    ("cannot be told", "no se puede decir"),
    (
        "{yield:number} %, 95 % interval {from:number} to {to:number} %",
        "{yield} %, intervalo del 95 %: de {from} a {to} %",
    ),
    ("{yield:number} %, no interval", "{yield} %, sin intervalo"),
    (", held against {number} %", ", comparado con {number} %"),
    // What the day lost.
    (
        "What the day lost, by cause",
        "Lo que perdió el día, por causa",
    ),
    (
        "At what the fish had cost. Pale, to the left of the line, is more than the book says. Causes may overlap.",
        "A lo que había costado el pescado. Claro, a la izquierda de la línea, es más de lo que dice el libro. Las causas pueden coincidir.",
    ),
    ("drip", "escurrimiento"),
    ("thrown out", "tirado"),
    ("unaccounted at the table", "sin explicar en la mesa"),
    ("fillet under the reference", "filete bajo la referencia"),
    // Control charts.
    (
        "In deviations of the baseline, cut after cut. A square on its corner is beyond a limit and bears its number.",
        "En desviaciones de la línea de base, corte tras corte. Un cuadrado sobre su esquina está fuera de un límite y lleva su número.",
    ),
    ("single cuts", "cortes uno a uno"),
    ("weighted mean", "media ponderada"),
    ("cumulated sums", "sumas acumuladas"),
    (
        "{n} cuts in the order of time, in deviations of the baseline; centre {centre:number}, lower limit {low:number}, upper limit {high:number}; none is beyond a limit. {says:said}",
        "{n} cortes en el orden del tiempo, en desviaciones de la línea de base; centro {centre}, límite inferior {low}, límite superior {high}; ninguno está fuera. {says}",
    ),
    (
        "{n} cuts in the order of time, in deviations of the baseline; centre {centre:number}, lower limit {low:number}, upper limit {high:number}; beyond a limit: {which:name}. {says:said}",
        "{n} cortes en el orden del tiempo, en desviaciones de la línea de base; centro {centre}, límite inferior {low}, límite superior {high}; fuera de un límite: {which}. {says}",
    ),
    ("{n} of {day} at {value:number}", "{n} del {day} en {value}"),
    // Headings of tables.
    ("cause", "causa"),
    ("at cost", "al costo"),
    ("about", "de quién"),
    ("method", "método"),
    ("cut", "corte"),
    ("day", "día"),
    ("value", "valor"),
    ("gathered below", "acumulado abajo"),
    ("lower limit", "límite inferior"),
    ("centre", "centro"),
    ("upper limit", "límite superior"),
    ("signal", "señal"),
    ("beyond", "fuera"),
    ("side", "lado"),
    ("what", "qué"),
    ("weight", "peso"),
    ("fish, cut to", "pescado, corte"),
    ("cuts", "cortes"),
    ("days", "días"),
    ("in", "entró"),
    ("yield", "rendimiento"),
    ("95 % from", "95 % desde"),
    ("95 % to", "95 % hasta"),
    ("drawn to group", "acercado al grupo"),
    ("like for like", "comparable"),
    ("like for like from", "comparable desde"),
    ("like for like to", "comparable hasta"),
    ("reference", "referencia"),
    ("reference from", "fuente de la referencia"),
    ("what may be said", "lo que se puede decir"),
    ("points", "puntos"),
];
