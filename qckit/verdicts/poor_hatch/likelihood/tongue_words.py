"""The words of a hatchery's day in five tongues, each put into the English that the causes' vocabulary knows.

One row an English word or phrase: German | Spanish | French | Portuguese | Dutch; words apart by commas, a star for any
ending, words of several parts are idioms and go first. Accents may be left out (ours, common practice, no source).
"""

# ruff: noqa: E501 - a table of words
from __future__ import annotations

__all__ = ["ALSO_ENGLISH", "SMALL", "TABLE", "TONGUES"]

TONGUES = ("German", "Spanish", "French", "Portuguese", "Dutch")
ALSO_ENGLISH = frozenset(  # also short forms of English sheets
    """
    aeration alt alter arena incorrect incorrectly lang mortar rota salad wand
    rest dose bad war sin once media tin sale court dur lot four sal air salt normal temperature alarm stop tube note
    sable light hell arm warm kilo film son main come lima alto solo sand thermostat ring bicarbonate surface portion
    balance dilution resistance soda long fort fast trouble double error sombre faux tot bord fond mort lave porte pose
    sala pue pese conte tan tard bote bon nova mal minute machine stark bas tief limo
    lamp water half open slang sop heel wit op pot pots lots blower timer neon compressor condensation detergent vers
    resistances thermostats cafe candida local over erg los dun moe sole brine legs pale plus debris
    trainee white tampon stab verse buffer decapsulated decapsulation hypochlorite thio charge charged charges
    """.split()  # noqa: SIM905 - short to read
)

SMALL = frozenset(("the", "and", "of", "with", "at", "not", "no", "too", "all", "only"))

TABLE = """
power cut: stromausfall, strom weg, strom war weg, kein strom, sicherung*, fi geflogen, fi raus, strom aus | se fue la luz, corte de luz, apagon, sin luz electrica, corte de corriente, salto la termica, corte electrico, sin electricidad, sin corriente, se corto la luz | panne de courant, coupure de courant, panne electrique, disjoncteur saute, plus de courant, pas de courant, plus d electricite, pas d electricite, sans courant, coupure electrique | falta de luz, faltou luz, falta de energia, queda de energia, sem energia, caiu o disjuntor, disjuntor caiu, caiu a luz | stroomuitval, stroomstoring, geen stroom, stroom weg, stroom eruit, stop gesprongen, stoppen eruit, stroomloos
heater: heizung*, heizer*, heizstab*, stab, heizelement* | calentador*, calefactor*, calefaccion, resistencia, resistencias, caldera | chauffage, radiateur, resistance, resistances, thermoplongeur* | aquecedor*, aquecimento, resistencia* | verwarming*, verwarmer*, verwarmingselement*, verwarmingsstaaf
thermostat: thermostat*, regler | termostato* | thermostat, thermostats, regulateur | termostato* | thermostaat*
lamp: lampe*, licht, beleuchtung, rohre, neonrohre, leuchte*, birne* | lampara*, foco*, luz, iluminacion, tubo fluorescente, tubo, bombilla*, bombillo*, luces | lampe*, lumiere, eclairage, ampoule*, neon, neons, lumieres | lampada*, luz, iluminacao, lampadas, luzes, tubo | lamp, lampen, licht, verlichting, tl, tl-buis
timer: zeitschaltuhr, schaltuhr | temporizador, reloj | minuterie, horloge, programmateur | temporizador, timer, relogio | tijdklok, schakelklok, tijdschakelaar
air: luft, beluftung, lufter | aire, aireacion, aireador | aeration, air | ar, aeracao | lucht, beluchting
pump: pumpe*, luftpumpe, membranpumpe*, kompressor, geblase | bomba*, soplador*, compresor*, blower | pompe*, compresseur*, soufflante, surpresseur | bomba*, soprador*, compressor* | pomp, pompen, luchtpomp*
air stone: luftstein*, ausstromer*, sprudelstein*, stein, steine | piedra*, difusor* | pierre*, diffuseur, diffuseurs | pedra*, difusor*, difusores | luchtsteen*, bruissteen*, steentje*
bubbles: blasen, blubber*, sprudel*, blaschen | burbujas, burbuje*, burbuja | bulles, bulle* | bolhas, bolha, borbulh* | bellen, belletjes, luchtbellen, borrel*
oxygen: sauerstoff | oxigeno | oxygene | oxigenio | zuurstof
salt: salz*, gesalzen, versalzen | sal | sel, salee | sal, salg* | zout
salinity: salzgehalt | salinidad, salinidades | salinite | salinidade | zoutgehalte, saliniteit
bicarbonate: natron, puffer, soda, natriumbicarbonat, natriumhydrogencarbonat | bicarbonato, tampon quimico, tampon, bicarbonato de sodio | bicarbonate, tampon | bicarbonato, tampao, tamponamento | bicarbonaat, buffer, zuiveringszout
water: wasser | agua* | eau | agua* | water
cysts: zysten, eier, cysten, zyste | cistos, quistes, huevos, quiste | oeufs, cystes, cyste, cistes | cistos, ovos, cisto | cysten, eitjes, eieren
nauplii: nauplien, larven, nauplius, tierchen | nauplios, larvas, nauplio | nauplies, larves, nauplius, larve | nauplios, larvas, nauplio | nauplien, larven, beestjes
wall: wand, rand, wande, kegelwand | pared*, borde | paroi*, bord, parois, cone paroi | parede*, borda, paredes | wand, rand, zijkant
ring: ring, kruste, kranz | anillo, costra, cerco, aro | anneau, croute, cerne, cerclage | anel, crosta, aro | ring, korst
clumps: klumpen, verklumpt, klumpig, verklumpen | grumos, terrones, grumoso | grumeaux, paquets, grumeleux, mottes | grumos, torroes, empelotad* | klonten, klontjes, kluiten
stuck: kleben*, klebt, hangen, festgesetzt, angeklebt, festgeklebt, angetrocknet | pegad*, adherid* | colle, colles, collees, collent, accroche* | grudad*, colad*, presos na parede | plakt, plakken, kleeft, kleven, vastgeplakt
bottom: boden, grund | fondo | fond | fundo | bodem, onderin
settled: abgesetzt, gesunken | asentad*, sedimentad* | depose, deposes, decante | assentad*, decantad* | bezonken, gezakt
top: oben | arriba, encima | haut, dessus | cima, encima | boven, bovenin, bovenuit
taken: genommen, gezogen, entnommen, abgeschopft, gegriffen, erwischt | tomad*, sacad*, tome, saque, agarre | pris, prise, preleve*, prises | tirad*, tomad*, tirei, peguei, tirada*, tomei | genomen
surface: oberflache | superficie | surface | superficie | oppervlak, oppervlakte
tin: dose, dosen, buchse*, glas, glaser, pott | lata*, bote, tarro*, frasco*, pote | boite*, pot, pots, bocal, bocaux | lata*, pote*, frasco*, vidro | blik, blikje, blikken, pot, potje, potten, bus
old: alt, alte, alter, altes, alten | viej*, antiguo, antigua | vieux, vieille*, ancien, ancienne | velho, velha, velhos, velhas, antigo, antiga | oud, oude, ouwe
new: neu, neue, neuer, neues, neuen, frisch, frische, frischer, frisches | nuev* | nouveau, nouvelle*, fraiche, frais | novo, nova, novos, novas, fresc* | nieuw, nieuwe
mixed: gemischt, vermischt | mezclad*, mezcla, mezcle | melange* | misturad*, mistura | gemengd, gemixt, mengen
rest of the tin: rest der dose, dosenrest, rest der packung, bodensatz der dose | resto de la lata, fondo de la lata, fondo del tarro | fond de la boite, fond de boite, fond du pot | resto da lata, fundo da lata, fundo do pote, resto do pote | rest van het blik, restje blik, bodem van het blik
damp: feucht, nass, feuchte, feuchter, feuchtigkeit, kondenswasser*, schwitzwasser | humed*, mojad*, condensacion, humedec* | humide*, mouille*, condensation, humidite, buee | umid*, molhad*, condensacao, umidade | vochtig*, nat, natte, klam, condens*
shells: schalen, hullen | cascaras, cascara | coques, coquilles | cascas | schalen, doppen, schilletjes
sand: sand | arena | sable | areia | zand
bleach: chlor, bleiche, chlorbad, hypochlorit, chlorbleiche, bleichmittel | cloro, lejia, hipoclorito, lavandina | chlore, javel, eau de javel, javellis*, hypochlorite | cloro, hipoclorito, agua sanitaria, candida | chloor, bleek, bleekmiddel, bleekwater
decapsulated: entkapselt, dekapsuliert, entkapsel*, dekapsul*, entschal* | decapsulad*, descapsul* | decapsule*, decapsul* | decapsulad*, descapsul* | gedecapsuleerd, ontkapsel*, ontdop*, decapsul*
rinsed: gespult, ausgespult, spulen, spulung | enjuagad*, enjuague, enjuag* | rince*, rincage | enxaguad*, enxagu* | gespoeld, uitgespoeld, nagespoeld
smells of: riecht nach, stinkt nach, geruch nach | huele a, olor a, huele fuerte a, olor fuerte a | sent le, odeur de, forte odeur de, odeur forte de | cheira a, cheiro de, cheiro forte de | ruikt naar, stinkt naar
stinks: stinkt, gestank, riecht schlecht, mieft, riecht faul | apesta, mal olor, huele mal, podrido, hiede, hedor, huele feo | pue, mauvaise odeur, puant, malodorant*, nauseabond* | fede, mau cheiro, mal cheiro, fedor, fedendo | stinkt, stank
cloudy: trub, trube, milchig, getrubt, eingetrubt | turbia, turbio, lechos*, enturbi* | trouble, laiteu* | turv*, leitos* | troebel*, melkachtig*, melkwit
slime: schleim*, schleimig | baba, limo, viscoso, viscosa, babos*, mucilag* | visqueu*, gluant*, glaireu* | limo, viscoso, viscosa, gosma, gosment*, limos* | slijm*
foam: schaum | espuma | mousse, ecume | espuma | schuim*
counted: gezahlt, zahlung, zahlen, zahlte, auszahlung | contad*, conte, cuento, conteo, contar, contando, contaron | compte, comptage, compter, comptes, comptee*, comptages | contad*, contei, contagem, contar, contando, contou | geteld, telling, telde, tellen, tel
sampled: beprobt, probe genommen | muestread* | echantillonne | amostrad* | bemonsterd
sample: proben, stichprobe, wasserprobe, probe | muestra*, gotas | echantillon*, prelevement, gouttes | amostra*, gotas | monster*
harvested: geerntet, abgeerntet, ernte, ernten, abernten | cosechad*, cosecha, cosechar | recolte* | colhid*, colheita | geoogst, oogst, oogsten
chamber: kammer, zahlkammer | camara | cellule | camara | telkamer, kamertje
dilution: verdunnung, verdunnt, verdunn* | dilucion, diluid*, dilui, diluir, diluyo | dilution, dilue*, diluer | diluicao, diluid*, dilui, diluir | verdunning, verdund, verdunde, aangelengd, aanlengen
scale: waage | bascula, balanza | balance | balanca | weegschaal, balans
spoon: loffel | cuchara*, cucharada* | cuillere* | colher* | lepel, lepels
weighed: gewogen, abgewogen, eingewogen, mitgewogen, gewicht | pesad*, pese, pesar, peso | pese, peser, poids | pesad*, pesei, pesar, peso | gewogen, woog, wegen
portion: portion, menge, mengen | porcion, racion, cantidad* | portion, dose, quantite* | porcao, racao, quantidade* | portie, porties, hoeveelheid
level: wasserstand, fullstand | nivel | niveau | nivel | waterpeil, peil, waterstand
filled: gefullt, befullt, angesetzt, aufgefullt, fullen | llen*, llenad*, llenado | rempli*, remplissage | cheio, enchid*, enchi, cheios | gevuld, vullen, bijgevuld
bucket: eimer | cubo, balde, cubeta | seau | balde | emmer, emmers
fridge: kuhlschrank | nevera, refrigerador | frigo | geladeira | koelkast
door: tur | puerta | porte | porta | deur
window: fenster | ventana* | fenetre* | janela* | raam, ramen
room: raum, zimmer, halle, keller | cuarto, sala | salle, local | sala, quarto | ruimte, hok, zaal, kamer
night: nacht, nachts | noche | nuit | noite | nacht, vannacht, nachts
morning: morgens, morgen | manana | matin | manha | ochtend, vanochtend, vanmorgen
all: alle, alles | todo, todos, toda, todas | tout, tous, toutes, toute | todo, todos, tudo, toda, todas | alle, alles
many: viele | muchos, muchas, cantidad de | beaucoup, plusieurs, nombreu* | muitos, muitas, um monte de | veel, vele
much: viel | mucho, mucha | beaucoup | muita | heel veel
little: wenig, kaum | poco, poca, apenas | peu, guere, a peine | pouco, pouca | weinig, beetje, amper, nauwelijks
half: halb, halbe, halber, halbes, halfte | mitad, medio | moitie, demi | metade, meio | half, halve, helft
only: nur | solamente, sola | seulement, que la, seule, seul | apenas, somente, so | alleen, enkel, slechts
double: doppelt, doppelte | doble | double | dobro, duplo | dubbel, dubbele
too: zu, allzu, viel zu | demasiad*, de mas | trop, bien trop, beaucoup trop, trop de | demais | te, veel te
very: sehr, extrem, ganz | muy, re, bastante, altisim*, fuertisim* | tres, fort, extremement | muito, bem | erg, heel, zeer
nearly: fast, beinahe | casi | presque | quase | bijna, haast
cold: kalt, kalte, kalter, kaltes, kuhl, eiskalt*, saukalt, kuhle, gekuhlt | frio, fria, helad*, friito, friisim* | froid*, glace, glacee, glacial*, frisquet | frio, fria, gelad*, friozinho | koud, koude, kil, fris, ijskoud*, steenkoud*
hot: heiss, hei\u00df, heisse, heisser, uberhitzt, heizt durch, erhitzt | caliente, calor, hirvi*, se calento, calento, calentarse, sobrecalent* | chaud*, brulant*, bouillant*, chauffe, chaleur, surchauff* | quente, calor, pelando, fervendo, esquentou, superaquec* | heet, hete, bloedheet
warm: warm | tibi*, templad* | tiede* | morno, morna | warm, warme
salty: salzig | salad* | sale, salee | salgad* | zoute, zoutig
fresh: suss, susse, susswasser | dulce | douce | doce | zoet, zoete
sour: sauer | agrio, agria | aigre | azedo, azeda | zuur, zure
dark: dunkel, finster, stockfinster, dunkelheit, dunklen | oscur*, obscur*, tiniebla*, a oscuras | sombre, noir, obscurite | escur*, no escuro, escuridao | donker, donkere, pikdonker
strong: stark, kraftig, heftig, starker | fuerte* | fort, forte, puissant* | forte* | sterk, sterke, krachtig
weak: schwach, schwache, schlapp | debil*, floj* | faible* | fraco, fraca | zwak, zwakke
high: hoch | alta | eleve, elevee | alta | hoog, hoge
low: niedrig, tief | baj* | basse*, bas | baix* | laag, lage
late: spat, verspatet, zu spat | tarde, demora, atrasad* | tard, retard, en retard, tardif | tarde, atrasad*, atraso | laat, later
early: fruh, vorzeitig, verfruht, vor der zeit, zu fruh | temprano, antes de hora, antes de tiempo, antes de la hora | tot, avant lheure, avant l heure, trop tot, avant heure | cedo, antes da hora, antes do tempo | vroeg, eerder, vroegtijdig, voor tijd, voor de tijd
too long: zu lange, zu lang, viel zu lange | mucho tiempo, demasiado tiempo, demasiadas horas, muchas horas | trop longtemps | tempo demais, muito tempo, tempo de mais, horas demais | te lang
long: lang, lange | largo | longtemps | longo | lang, lange
full: voll, voller | llen* | plein* | cheio, cheia | vol, volle
open: offen, geoffnet, offenen, geoffneter | abiert*, destapad* | ouvert*, mal ferme*, decouvert* | abert*, mal fechad*, destampad* | opengestaan, geopend
dead: tot, tote, toten | muert* | mort, morts, mortes | morto, morta, mortos, mortas | dood, dode
broken: kaputt, defekt, gebrochen, zerrissen, hinuber, zerfetzt, durchgebrannt, ohne funktion | rota, roto, rotas, rotos, averiad*, descompuest*, danad*, estropead*, quemad*, no anda, no funciona, pedazos | casse, cassee, casses, abime*, grille*, en panne, ne marche pas | quebrad*, estragad*, queimad*, pifou, nao funciona, quebrou | kapot, kapotte, stuk, defect
empty: leer, leere | vaci* | vide, vides | vazi* | leeg, lege
clogged: verstopft, zu gesetzt, verschleimt | tapad*, atascad*, obstruid*, sucia, tapada | bouche*, encrasse*, obstrue* | entupid*, sujo | verstopt, dichtgeslibd
stuck on: hing, hangt, klemmt, festgehangen, verklemmt | trabad*, atorad*, pegado, trabado | bloque*, coince* | travad*, travou, preso ligado | blijven hangen, hing vast, sloeg niet af, niet afgeslagen
off: aus, ausgefallen, ausgeschaltet, abgeschaltet, stand still, ausgegangen, ausgesteckt, stillstand | apagad*, se apago, desconectad*, parad*, desenchufad*, se paro | eteint*, coupe*, arrete*, a l arret, debranche*, eteinte*, en arret | apagad*, desligad*, parado, parada, parou, fora da tomada, desligou | uitgevallen, uitgeschakeld, uit, eruit, afgevallen, lag stil, stond stil, stilgevallen
forgot: vergessen, vergass | olvid* | oublie* | esquec* | vergeten, vergat
wrong: falsch, verkehrt, falsches, falschen, falscher | mal, equivocad*, incorrect*, equivocado | faux, mauvais, mauvaise | errad* | verkeerd, verkeerde, fout, foute
error: fehler, irrtum | error | erreur | erro | vergissing, foutje
swapped: vertauscht, verwechselt | cambiad*, confundid* | echange*, confondu* | trocad*, confundid* | verwisseld, omgewisseld
spilled: verschuttet, verkippt, danebengegangen | derram*, volc* | renverse* | derram*, derrubei, entornou | gemorst
no: kein, keine, keinen, ohne, nie | sin, nunca | sans, plus de, pas de, jamais | sem, nunca | geen, zonder
not: nicht, nie | no, nunca | pas | nao, nunca | niet
ok: i.o., in ordnung, gut | bien, bueno | bien, bon | bem, bom | prima, oke, in orde
repaired: repariert | reparad* | repare* | consertad* | gerepareerd, gemaakt
replaced: ersetzt, ausgetauscht | cambie, reemplazad* | remplace* | substituid* | vervangen, verwisselde
cleaned: gereinigt, gewaschen, geputzt, reinigen, geschrubbt | limpi*, lavad*, lave, limpie | nettoye*, lave, lavage, lavee, laves, lavees | limpo, limpa, lavad*, lavei, limpos, limpas | schoongemaakt, gereinigd, gepoetst, geschrobd, schrobben
the: der, die, das, dem, den | el, la, los, las | le, la, les | o, os, as | de, het
and: und | y | et | e | en
of: von, vom | de, del | de, du | de, do, da | van
with: mit | con | avec | com | met
at: am, im, beim | al, en | au, en | na | bij, op, in de
hose: schlauch*, luftschlauch* | manguera* | tuyau* | mangueira* | slang*, luchtslang*, slangetje*
kinked: geknickt, abgeknickt, gequetscht | doblad*, aplastad*, estrangulad* | pince, pincee, plie, ecrase* | dobrad*, amassad* | geknikt, afgeknepen, dubbelgevouwen
loose: ab, abgerutscht, abgegangen, gelost | solto, suelt*, se solto, desconecto | debranche*, detache*, lache | soltou, solto, solta | losgeschoten, los, losgeraakt
noon: mittag*, mittags | mediodia | midi | meio-dia | middag
too many cysts: zu viele zysten, zu viele eier | demasiados quistes, demasiados cistos, quistes de mas | trop de cystes, trop d oeufs | cistos demais, cisto demais | te veel cysten, te veel eitjes
whole: ganze, ganzer, ganzes | enter*, todo el, toda la | entier, entiere, toute la, tout le | inteir* | hele
tipped in: reingekippt, hineingekippt, reingeschuttet | eche, echamos, verti | verse, mis dedans, y est passe* | botei, despejei, joguei | gekieperd, ingegooid, erin gegooid
twice: zweimal, zwei mal | dos veces | deux fois | duas vezes | twee keer, tweemaal
brine: salzlake, salzlauge | salmuera | saumure | salmoura | pekel
tap water: leitungswasser | agua de canilla, agua del grifo | eau du robinet | agua da torneira | kraanwater, leidingwater
fresh water: susswasser | agua dulce | eau douce | agua doce | zoet water
lid: deckel | tapa, tapado, tapada | couvercle | tampa, tampado | deksel
covered: abgedeckt, zugedeckt | cubiert*, tapado con | couvert de, recouvert* | coberto, coberta | afgedekt
above the water: uber der wasserlinie, uber dem wasser | sobre la linea de agua, encima del agua, arriba del agua | au dessus de l eau, au-dessus de l eau | acima da agua, acima da linha da agua | boven het water, boven de waterlijn
dry: trocken, trockene, getrocknet, angetrocknet | sec*, resec* | sec, secs, seche* | sec* | droog, droge, opgedroogd
brown: braun* | cafe, marron, pardo | brun, brune | marrom | bruin*
next day: am nachsten tag, tags darauf, bis zum nachsten tag | al dia siguiente, un dia tarde, el dia siguiente | le lendemain, un jour trop tard, un jour de trop, au lendemain | no dia seguinte, um dia depois, dia seguinte | volgende dag, dag later, dag te laat
longer than planned: langer als geplant | mas tiempo de lo debido | plus longtemps que prevu | mais do que devia | langer dan gepland
left: gelassen, stehen gelassen | dej*, quedo | laisse*, reste | deixad*, ficou, sobrou | laten staan, gelaten, achtergebleven, gebleven
hours too early: stunden zu fruh | horas antes | des heures avant | horas antes | uren eerder, uren te vroeg
not mixed: ungemischt, nicht umgeruhrt, ohne umruhren, ohne aufzuruhren, nicht aufgeruhrt | sin mezclar, sin agitar, sin revolver, sin remover, no revolvi, no agite, no mezcle | sans remuer, sans melanger, sans agiter, sans brasser, pas brasse, pas remue, pas melange, non melange | sem misturar, sem mexer, sem agitar, nao mexi, nao misturei, nao agitei | niet geroerd, zonder roeren, zonder te roeren, niet gemengd, niet gemengde
stirred: umgeruhrt, aufgeruhrt, geruhrt | revuelto, agitado, removido | brasse, remue, agite | mexido, agitado | geroerd, omgeroerd
not tared: nicht auf null, tara vergessen, nicht tariert, ohne tara | sin tarar, no tare, sin tara | pas tare*, non tare*, sans tarer | sem tara, sem tarar, nao tarei | niet op nul, niet getarreerd, niet getarreerde
weighed with the dish: schale mitgewogen, mit schale gewogen | pese con el vas*, pesado con el envase | pese avec la coupelle, pese avec le pot | pesei junto com, pesei com o pote | bakje meegewogen, met bakje gewogen
guess: geschatzt, nach gefuhl | a ojo, aproximad* | a l oeil, estime, au pif | no olho, estimad* | geschat, op gevoel
first time: erstes mal, zum ersten mal, ersten mal | primera vez | premiere fois | primeira vez | eerste keer
alive: lebend, lebendig | vivos, vivas | vivants, vivantes | vivos, vivas | levend
trainee: praktikant*, lehrling, azubi, neuling | practicante*, aprendiz, novat*, becari* | stagiaire*, apprenti*, debutant* | estagiari*, aprendiz, novat* | stagiair*, leerling, beginneling
unsure: unsicher, nicht sicher, fraglich | dudos*, insegur*, no seguro, no segura | pas sur, pas sure, incertain*, douteu* | duvidos*, insegur*, inseguro | onzeker, niet zeker, twijfel*
perhaps: evtl., vielleicht, vermutlich, glaub, glaube | quiza*, puede ser, tal vez, creo que | peut-etre, je crois, je pense | talvez, acho que | misschien, denk ik, ik denk
numbers: zahlen | numeros, cuentas | chiffres | numeros | getallen, cijfers
soap: seife*, spuli*, spulmittel* | jabon*, detergente* | savon*, produit vaisselle, liquide vaisselle, detergent* | sabao, detergente* | zeep*, afwasmiddel*, sop
thiosulphate: thio, thiosulfat | tio, tiosulfato | thio, thiosulfate | tio, tiossulfato | thio, thiosulfaat
pool: schwimmbad* | pileta, piscina | piscine | piscina | zwembad*
lot: charge*, partie | lote* | lot, lots | lote* | partij, lot
other: anderer, andere, anderes, anderen | otro, otra | autre, autres | outro, outra | andere, ander
expired: abgelaufen, uber dem datum, uber datum | vencid*, caducad* | perime*, date depassee | vencid* | over datum, verlopen, over de datum
last year's: vom vorjahr, vom letzten jahr | del ano pasado, de ano pasado | de l an passe, de l annee derniere, de l an dernier | do ano passado | van vorig jaar
never frozen: nie gefroren, nie eingefroren, nicht gefroren | nunca congelad*, sin congelar | jamais congele*, pas congele* | nunca congelad*, sem congelar | nooit gevroren, nooit ingevroren, niet bevroren
not chilled: nicht gekuhlt, ungekuhlt | sin frio previo, no enfriad* | pas passes au froid, pas refroidi* | sem frio antes | niet gekoeld
resting: ruhen, ruhend, ruhe | reposo, en reposo | en repos, au repos | em repouso, repouso | in rust, rusten
needs cold: braucht kalte*, braucht kuhlung | necesita frio | demande un repos au froid, besoin de froid, demande du froid | precisa de frio | moet koud, heeft kou nodig
new harvest: neue ernte, frische ernte | cosecha nueva, nueva cosecha | nouvelle recolte | safra nova, nova safra | nieuwe oogst, verse oogst
fresh from the lake: frisch vom see, frisch aus dem see | recien sacado, recien cosechad* | tout juste recolte*, frais du lac | recem colhid*, recem tirad* | vers van het meer, vers uit het meer
torn: zerrissen*, gerissen, fetzen, in stucken, stucke | en pedazos, despedazad*, hechos pedazos | en morceaux, dechire*, dechiquete* | em pedacos, despedacad* | in stukken, gescheurd, aan stukken
legs: beinchen, beine | patas, patitas | pattes | perninhas, patas | pootjes, poten
boiling: kocht, kochend | hierve | gros bouillons, bouillonne* | ferve | kookt
white: weiss, weisse | blanc* | blanc, blanche, blancs | branc* | wit, witte
pale: blass, bleich | palid* | pale, pales | palid* | bleke, bleekjes
thin: dunn | aguad*, flac* | clair, maigre* | ral*, magr* | dun, dunne
tired eyes: mude augen | vista cansada | yeux fatigues | vista cansada | slechte ogen, moe
blinking: blinkt | parpadea* | clignote* | piscando, pisca | knippert
clock: uhr, wecker | reloj | reveil, horloge | relogio | klok
used up: war alle, aufgebraucht, ist alle | se acabo, agotad* | epuise*, plus de stock | acabou | was op, opgeraakt
not come on: ging nicht an | no encendio, no prendio | pas allume*, ne s allume pas | nao acendeu, nao ligou | ging niet aan, deed het niet, doet het niet
bits: teile | restos | debris | restos | deeltjes
checked: gepruft, nachgesehen, kontrolliert | revisad*, chequead* | verifie*, controle | conferid*, verificad* | nagekeken, gecontroleerd
calibrated: geeicht, kalibriert | calibrad* | etalonne*, calibre* | aferid*, calibrad* | geijkt, gekalibreerd
nothing: nichts, nix | nada, sin novedad | rien, rien a signaler | nada, sem novidade | niets, geen bijzonderheden
running: lauft | anda, funciona | tourne, marche | roda, funcionando | loopt, draait
badly: schlecht | muy mal | mal | mal | slecht
acid: sauerlich | acido, acida | acide | acido, acida | zurig
two: zwei | dos | deux | dois, duas | twee
splash: spritz* | salpic* | eclabouss* | resping* | spetter*, spat*
differ: verschieden, unterschiedlich | dispar*, desigual* | inegal*, different* | diferentes, desigua* | verschillend*
thick soup: dicke suppe, dickflussig | espeso*, sopa | epais*, soupe | grosso, sopa | dikke soep, soep
at full: voll auf, ganz auf | a full, a tope, al maximo | a fond, au maximum | no maximo | vol open, voluit
stood: stand, gestanden | estuvo | restee | esteve | stond, gestaan
again: nochmal, noch mal, erneut | otra vez, de nuevo | encore, en plus | de novo, a mais | nog een keer, nogmaals, opnieuw
noted: notiert, vermerkt | anotad* | note, notee | anotad* | genoteerd
first count: erste zahlung | primer conteo | premier comptage | primeira contagem | eerste telling
"""
