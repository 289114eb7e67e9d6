//! Why small fish goes where it goes, why some stays, and where it may not go.

use super::Pair;

pub(super) const PHRASES: &[Pair] = &[
    (
        "The site has no room for small fish on file.",
        "El sitio no tiene ningún lugar para pescado pequeño.",
    ),
    (
        "Every room that may take it is full.",
        "Están llenos todos los lugares que pueden recibirlo.",
    ),
    (
        "No room may take it: it {why:said}.",
        "Ningún lugar puede recibirlo: {why}.",
    ),
    (
        "Nothing goes to {room:name}: {would:weight} would have, and a drop is worth the drive from {least:weight}.",
        "A {room} no va nada: habrían ido {would}, y una entrega compensa el viaje desde {least}.",
    ),
    (
        "{weight} of {part:code} goes to {there:name} with the rest of it and not to {here:name}: it saves a drop and costs {money}.",
        "{weight} de {part} van a {there} con el resto y no a {here}: ahorra una entrega y cuesta {money}.",
    ),
    (
        "What dressing {species:name} from {from:term} to {to:term} keeps is not set: it is counted at its weight before dressing.",
        "No está fijado cuánto queda al limpiar {species} de {from} a {to}: se cuenta con su peso de antes.",
    ),
    // What the rules say.
    (
        "is held, and goes nowhere until the office releases it",
        "está retenido, y no va a ninguna parte hasta que la oficina lo libere",
    ),
    (
        "is made of fish that is held now ({source:code})",
        "está hecho de pescado que ahora está retenido ({source})",
    ),
    (
        "came in at {warm:reading} and no probe since has shown it at or below {limit:reading}: probe it again",
        "llegó a {warm} y ninguna sonda lo ha mostrado desde entonces a {limit} o menos: mídalo otra vez",
    ),
    (
        "nobody wrote down when it was caught, so its age is not known",
        "nadie anotó cuándo se pescó, así que no se sabe su edad",
    ),
    (
        "would be {age:n} h old when it is handed over; {kind:term} is at most {most:n} h old",
        "tendría {age} h al entregarlo; para {kind} se admiten como mucho {most} h",
    ),
    (
        "is roe, head or viscera of a species with the ciguatera hazard, which is no food by default",
        "son huevas, cabeza o vísceras de una especie con riesgo de ciguatera, que por defecto no son alimento",
    ),
    (
        "has the ciguatera hazard and is {form:term}: it goes to {kind:term} gutted and head-off",
        "tiene riesgo de ciguatera y está {form}: para {kind} va eviscerado y sin cabeza",
    ),
    (
        "is torn, or made of torn fish, which is cut the same day and not donated",
        "está desgarrado, o hecho de pescado desgarrado, que se corta el mismo día y no se dona",
    ),
    (
        "is {form:term} with its venomous spines on, which this recipient does not take",
        "está {form} con sus espinas venenosas, y este beneficiario no lo acepta así",
    ),
    (
        "the recipient does not say that it keeps fish cold until it is cooked",
        "el beneficiario no dice que mantenga frío el pescado hasta cocinarlo",
    ),
    (
        "no contact is on file by which the recipient could be told of a recall",
        "no consta un contacto para avisar al beneficiario de una retirada",
    ),
    (
        "the order was called off or fulfilled",
        "el pedido se anuló o ya se cumplió",
    ),
    (
        "is frozen, and is planned no more",
        "está congelado, y ya no se planea",
    ),
    (
        "is not a species that is wanted there",
        "no es una especie que se quiera ahí",
    ),
    (
        "no time is left for it on this day",
        "este día ya no queda tiempo para ello",
    ),
    (
        "is not in a form that is wanted there, nor can be given one",
        "no está en una forma que se quiera ahí, ni se le puede dar",
    ),
    (
        "was not counted, so the weight of a fish is not known",
        "no se contó, así que no se sabe cuánto pesa un pez",
    ),
    (
        "weighs {piece:number} a fish; this table is for {from:number} to {to:number} {unit:code}",
        "pesa {piece} por pez; esta mesa es para peces de {from} a {to} {unit}",
    ),
    (
        "weighs {piece:number} a fish; this table is for {from:number} to  {unit:code}",
        "pesa {piece} por pez; esta mesa es para peces de {from} {unit} o más",
    ),
    (
        "weighs {piece:number} a fish; this table is for  to {to:number} {unit:code}",
        "pesa {piece} por pez; esta mesa es para peces de menos de {to} {unit}",
    ),
];
