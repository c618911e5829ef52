"""Further wordings that name a cause, written before any mending, but with the kit's words known."""

CAUSES = (
    "cold",
    "cold_start",
    "power_cut",
    "heat",
    "low_ph",
    "low_oxygen",
    "air_failure",
    "over_density",
    "high_salinity",
    "fresh_fill",
    "dark_start",
    "not_wetted",
    "over_long",
    "counted_early",
    "mixing_error",
    "weighing_error",
    "dilution_error",
    "miscount",
    "bleach_left",
    "soap_left",
    "wrong_lot",
    "old_lot",
    "dormant_lot",
    "damp_cysts",
    "rough_air",
    "bacterial_bloom",
    "decap_overdone",
)

TEXT = {
    "en": """heater plug was out of the socket, cold
        started in water off the tap in winter, far too cold
        no electricity from midnight on
        thermostat set to 36 by mistake
        no bicarb left in the shop
        air stone slimed up, hardly moving
        blower off when I came, switched back on
        double lot of cysts went in
        refractometer shows way too much salt
        somebody filled it with fresh water
        lights never came on
        cysts dried on above the waterline
        forgot to harvest, sat till next day
        took the count before it was due
        sample taken from a still cone, not mixed
        balance jumping about, weight a guess
        not sure of the dilution, maybe double
        trainee counted, not sure of the numbers
        bleach not rinsed out
        soap left in the cone
        wrong tin taken
        cysts years out of date
        cysts still resting, not chilled
        cysts got damp
        air too strong, nauplii in bits
        water slimy and smelling
        decapsulated too long""",
    "de": """Heizstab war ausgesteckt, Wasser kalt
        mit eiskaltem Wasser gestartet
        kein Strom seit Mitternacht
        Thermostat auf 36 gestellt, zu warm
        Puffer war alle
        Ausströmer verschleimt, kaum Luft
        Luftpumpe war aus, wieder eingeschaltet
        zu viele Zysten eingewogen
        Salzgehalt viel zu hoch
        mit Süßwasser gefüllt
        Licht ging nicht an
        Zysten über dem Wasser angetrocknet
        Ernte vergessen, stand bis zum nächsten Tag
        vor der Zeit gezählt
        Probe aus ungemischtem Kegel
        Waage springt, Gewicht geschätzt
        Verdünnung unsicher, evtl. doppelt
        Praktikant hat gezählt, Zahlen unsicher
        Bleiche nicht ausgespült
        Seife im Kegel geblieben
        falsche Dose genommen
        Zysten seit Jahren über dem Datum
        Zysten ruhen noch, nicht gekühlt
        Zysten feucht geworden
        Luft zu stark, Nauplien in Stücken
        Wasser schleimig und riecht
        zu lange entkapselt""",
    "nl": """verwarming niet ingeplugd, water koud
        gestart met ijskoud water
        geen stroom sinds middernacht
        thermostaat op 36 gezet, te heet
        bicarbonaat was op
        luchtsteen vol slijm, bijna geen lucht
        luchtpomp stond uit, weer aangezet
        te veel eitjes in de kegel
        zoutgehalte veel te hoog
        gevuld met zoet water
        lamp ging niet aan
        cysten opgedroogd boven de waterlijn
        vergeten te oogsten, stond tot de volgende dag
        voor de tijd geteld
        monster uit niet gemengde kegel
        weegschaal springt, gewicht geschat
        verdunning onzeker, misschien dubbel
        stagiair telde, getallen onzeker
        bleekmiddel niet uitgespoeld
        zeep in de kegel gebleven
        verkeerd blik genomen
        cysten jaren over datum
        cysten in rust, niet gekoeld
        cysten vochtig geworden
        lucht te sterk, naupliën in stukken
        water slijmerig en stinkt
        te lang ontkapseld""",
    "es": """calentador desenchufado, agua fria
        empezado con agua muy fria
        sin electricidad desde medianoche
        termostato puesto en 36, muy caliente
        se acabo el bicarbonato
        difusor con baba, poco aire
        la bomba de aire estaba apagada, la prendi
        demasiados quistes en el cono
        salinidad altisima
        llenado con agua dulce
        la luz no encendio
        quistes secos sobre la linea de agua
        olvide cosechar, quedo hasta el dia siguiente
        contado antes de tiempo
        muestra del cono sin mezclar
        balanza inestable, peso aproximado
        dilucion dudosa, quiza doble
        conto el practicante, numeros dudosos
        cloro mal enjuagado
        jabon en el cono
        lata equivocada
        quistes vencidos hace años
        quistes en reposo, sin frio previo
        quistes se humedecieron
        aire demasiado fuerte, nauplios en pedazos
        agua babosa y con mal olor
        descapsulado demasiado tiempo""",
    "fr": """chauffage débranché, eau froide
        démarré avec une eau trop froide
        pas d'électricité depuis minuit
        thermostat réglé sur 36, trop chaud
        plus de bicarbonate
        diffuseur encrassé, peu d'air
        pompe à air éteinte, rallumée
        trop de cystes dans le cône
        salinité beaucoup trop haute
        rempli à l'eau douce
        lampe pas allumée
        cystes séchés au dessus de l'eau
        récolte oubliée, resté jusqu'au lendemain
        compté avant l'heure
        prélevé dans un cône non mélangé
        balance instable, poids estimé
        dilution incertaine, peut-être double
        stagiaire a compté, chiffres pas sûrs
        javel mal rincée
        savon resté dans le cône
        mauvaise boîte prise
        cystes périmés depuis des années
        cystes en repos, pas passés au froid
        cystes ont pris l'humidité
        air trop fort, nauplies en morceaux
        eau gluante et malodorante
        décapsulé trop longtemps""",
    "pt": """aquecedor fora da tomada, água fria
        começado com água muito fria
        sem energia desde meia-noite
        termostato em 36, quente demais
        acabou o bicarbonato
        difusor com limo, pouco ar
        bomba de ar desligada, liguei de novo
        cistos demais no cone
        salinidade alta demais
        cheio com água doce
        a luz não acendeu
        cistos secos acima da linha da água
        esqueci de colher, ficou até o dia seguinte
        contado antes do tempo
        amostra do cone sem misturar
        balança instável, peso estimado
        diluição duvidosa, talvez o dobro
        estagiário contou, números duvidosos
        cloro mal enxaguado
        sabão no cone
        lata errada
        cistos vencidos há anos
        cistos em repouso, sem frio antes
        cistos pegaram umidade
        ar forte demais, náuplios em pedaços
        água viscosa e com mau cheiro
        descapsulado tempo demais""",
}

LATER = {tongue: dict(zip(CAUSES, (x.strip() for x in text.split("\n")), strict=True)) for tongue, text in TEXT.items()}
