"""Why a value is not known, or is to be taken with care, in Spanish: the sentences of the gateway, hole by hole.

A sentence that is found here is said in Spanish; {} is a piece that stays, or is translated where it is known.
Each sentence ends at "; ", so that several stand side by side.
"""

from __future__ import annotations

REASONS = {
    "no current reading yet": "todavía sin lectura",
    "not judged yet": "todavía sin juzgar",
    "no sensors that give this value": "ningún sensor da este valor",
    "age unknown: it may have waited at the broker": "edad desconocida: pudo quedar esperando en el servidor",
    "silent {} min": "sin señal desde hace {} min",
    "silent since {} s": "sin señal desde hace {} s",
    "jumped by {}": "saltó {}",
    "waiting until two more readings agree": "se esperan dos lecturas más que coincidan",
    "at the low end of its range for {} h: check the sensor and its wire": (
        "en el extremo bajo de su escala desde hace {} h: revisar el sensor y su cable"
    ),
    "stuck: exactly the same value for {} h while it should move": (
        "clavado: exactamente el mismo valor desde hace {} h, cuando debería moverse"
    ),
    "may read up to 3 %RH high: it stood above 80 %RH for more than 60 h": (
        "puede marcar hasta 3 %HR de más: estuvo sobre 80 %HR más de 60 h"
    ),
    "vapour pressure {} % against {} over {} well-mixed hours of the last day: check both": (
        "presión de vapor {} % frente a {} en {} horas de aire bien mezclado del último día: revisar los dos"
    ),
    "vapour pressure {} % against {} when last compared: check both": (
        "presión de vapor {} % frente a {} cuando se compararon por última vez: revisar los dos"
    ),
    "dew point {} against {} over {} steady hours of the last day: check both": (
        "punto de rocío {} frente a {} en {} horas estables del último día: revisar los dos"
    ),
    "dew point {} against {} when last compared: check both": (
        "punto de rocío {} frente a {} cuando se compararon por última vez: revisar los dos"
    ),
    "station pressure {} against {} over {} hours of the last day: check both": (
        "presión de la estación {} frente a {} en {} horas del último día: revisar las dos"
    ),
    "station pressure {} against {} when last compared: check both": (
        "presión de la estación {} frente a {} cuando se compararon por última vez: revisar las dos"
    ),
    "dew point drier than a salt bed can make it: check the sensor and the pressure entry": (
        "punto de rocío más seco de lo que logra un lecho de sal: revisar el sensor y la presión anotada"
    ),
    "dew point {} below the outlet gas, drier than a salt bed can make it: check the sensor and the pressure"
    " entry": (
        "punto de rocío {} bajo el gas de salida, más seco de lo que logra un lecho de sal: revisar el sensor y la"
        " presión anotada"
    ),
    "brine on a chip looks like a perfect dryer": "la salmuera sobre el chip parece un secador perfecto",
    "reads {} while {} reads {}: one of them is wrong": "marca {} mientras {} marca {}: uno de los dos está mal",
    "{} off the standard atmosphere at the site's altitude: looks like sea-level pressure or a wrong altitude": (
        "{} respecto a la atmósfera estándar a la altitud de la obra: parece presión a nivel del mar o una altitud"
        " equivocada"
    ),
    "{} off the standard atmosphere at the site's altitude: check the sensor and the altitude": (
        "{} respecto a la atmósfera estándar a la altitud de la obra: revisar el sensor y la altitud"
    ),
    "no weather brings that": "ningún tiempo trae eso",
    "dew point {} above its own gas ({}), which cannot be: check both": (
        "punto de rocío {} por encima de su propio gas ({}), lo que no puede ser: revisar los dos"
    ),
    "its clock is wrong, judged on the time of receipt": "su reloj está mal, se juzga por la hora de llegada",
    "saturated, judged wet": "saturado, se juzga mojado",
    "below what this sensor resolves": "por debajo de lo que distingue este sensor",
    "outside the range of the physics: {}": "fuera del alcance de las fórmulas: {}",
    "{} is {}, allowed is {} to {}": "{} es {}, se admite de {} a {}",
    "{} is {}, allowed is {}": "{} es {}, se admite {}",
    "near the least this sensor resolves, uncertainty lopsided: condensation point {} (95 %)": (
        "cerca de lo mínimo que distingue este sensor, incertidumbre desigual: punto de condensación {} (95 %)"
    ),
    "up to {}, no lower bound": "hasta {}, sin cota inferior",
    "guarded rule, but the uncertainty is not stated": (
        "regla con banda de guarda, pero la incertidumbre no se declara"
    ),
    # a train
    "the train is {}": "el tren está {}",
    "the train is warming up": "el tren está tomando temperatura",
    "off": "apagado",
    "vented": "sin presión",
    "pressurised without flow": "con presión y sin flujo",
    "water may have condensed": "pudo condensarse agua",
    "blow out before abrasive (ASTM D4285, 4.1)": "soplar antes de meter abrasivo (ASTM D4285, 4.1)",
    # a change, what a person saw, a wait
    "the work it is for has ended": "terminó el trabajo al que se aplica",
    "how it changes is not known": "no se sabe cómo varía",
    "how it changes is not known yet: that takes {} min of values": (
        "aún no se sabe cómo varía: hacen falta {} min de valores"
    ),
    "nobody has entered rain or fog": "nadie anotó lluvia ni niebla",
    "nobody has entered the temperature of the product": "nadie anotó la temperatura del producto",
    "the temperature of the product was entered more than an hour ago: read it again": (
        "la temperatura del producto se anotó hace más de una hora: leerla de nuevo"
    ),
    "entered by {}": "anotado por {}",
    "nothing measures it here": "aquí nada la mide",
    "entered by hand": "anotado a mano",
    "{}, entered by {}": "{}, anotado por {}",
    "rain": "lluvia",
    "fog or mist": "niebla o bruma",
    "dew": "rocío",
    "snow or ice": "nieve o hielo",
    "dry again": "seco de nuevo",
    "not inside": "fuera de límites o sin datos",
    "counted up to the begin of the work": "contado hasta el comienzo del trabajo",
    "no other limit is entered for this work, so nothing says whether it is inside": (
        "no hay otro límite para este trabajo, así que nada dice si está dentro"
    ),
    # steel and coats that stood in what they should not
    "limits back": "de nuevo en límites",
    "it has its coat or is blasted anew": "ya tiene su capa o se chorreó de nuevo",
    "the activity ended, limits are not back": "el trabajo terminó, los límites no volvieron",
    "area {}: {}": "área {}: {}",
    "area {}, coat {}: {}": "área {}, capa {}: {}",
    "area {} needs the inspector's disposition: {}": "el área {} espera la decisión del inspector: {}",
    "area {} needs the inspector's disposition, coat {}: {}": (
        "el área {} espera la decisión del inspector, capa {}: {}"
    ),
    "{} for {} min": "{} durante {} min",
    "outside {}": "fuera de {}",
    "blasted steel at or below its dew point": "acero chorreado en su punto de rocío o por debajo",
    "blasted steel stood longer than {}": "el acero chorreado esperó más de {}",
    # signals and messages
    "no signal": "sin señal",
    "a broken wire gives the same": "un cable roto da lo mismo",
    "broken wire or transmitter fault": "cable roto o falla del transmisor",
    "fault signal": "señal de falla",
    "the transmitter is beyond its range": "el transmisor está fuera de su escala",
    "{} is outside its range": "{} está fuera de su escala",
    "{} %RH cannot be": "{} %HR no puede ser",
    "the value is not a finite number": "el valor no es un número finito",
    "the edge node died": "el nodo se apagó",
    "the device died": "el equipo se apagó",
    "born again, and not yet heard of since": "volvió a presentarse, y aún no dijo nada",
    "sent without a sequence number": "enviado sin número de secuencia",
    "born without a sequence number of 0 to 255": "presentado sin número de secuencia de 0 a 255",
    "data before the birth of the device": "datos antes de que el equipo se presentara",
    "not defined by the last birth": "no definido en la última presentación",
    "nothing heard": "nada se oye",
    "what it says is at least {} min old when it comes": "lo que dice llega con al menos {} min de retraso",
    "its messages come late all the time: judged on the time of receipt": (
        "sus mensajes llegan siempre tarde: se juzga por la hora de llegada"
    ),
    "set forward by {}": "adelantado {}",
    "set back by {}": "atrasado {}",
    "calibrated until {}, certificate {}": "calibrado hasta {}, certificado {}",
    "{} GB free, the journal holds {} MB: enough for {} days at this pace": (
        "{} GB libres, el diario ocupa {} MB: basta para {} días a este ritmo"
    ),
    "{} GB free, the journal holds {} MB": "{} GB libres, el diario ocupa {} MB",
    "too young to tell for how long": "demasiado joven para decir por cuánto tiempo",
    "the server did not take it": "el servidor no lo aceptó",
}
