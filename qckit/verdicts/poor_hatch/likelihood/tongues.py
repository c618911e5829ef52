"""Notes in German, Spanish, French or Portuguese, put into the English words that the causes' vocabulary knows.

Word for word, with a few idioms: grammar is left alone, since a phrase of the vocabulary is a thing and its state, in
either order. A phrase is read in the tongue of which it holds most words, and only if it holds one that is no English
word too. Accents may be missing; a long word one letter off counts where another word of its tongue stands beside it.
The words are those of a hatchery's day (ours, common practice, no source).
"""

# ruff: noqa: E501 - a table of words
from __future__ import annotations

import re
import unicodedata
from functools import cache

__all__ = ["in_english", "one_letter_off"]

_TONGUES = ("German", "Spanish", "French", "Portuguese")
_ALSO_ENGLISH = frozenset(  # also short forms of English sheets
    """
    aeration alt alter arena incorrect incorrectly lang mortar rota salad wand
    rest dose bad war sin once media tin sale court dur lot four sal air salt normal temperature alarm stop tube note
    sable light hell arm warm kilo film son main come lima alto solo sand thermostat ring bicarbonate surface portion
    balance dilution resistance soda long fort fast trouble double error sombre faux tot bord fond mort lave porte pose
    sala pue pese conte tan tard bote bon nova mal minute machine stark bas tief limo
    """.split()  # noqa: SIM905 - short to read
)
_LONG = 6  # letters of a word that may be misspelt

# English: German | Spanish | French | Portuguese; words apart by commas, a star for any ending, spaces within an idiom
_TABLE = """
power cut: stromausfall, strom weg, strom war weg, kein strom, sicherung* | se fue la luz, corte de luz, apagon, sin luz electrica, corte de corriente | panne de courant, coupure de courant, panne electrique | falta de luz, faltou luz, falta de energia, queda de energia
heater: heizung*, heizer*, heizstab* | calentador*, calefactor*, calefaccion, resistencia | chauffage, radiateur, resistance | aquecedor*, aquecimento
thermostat: thermostat* | termostato* | thermostat | termostato*
lamp: lampe*, licht, beleuchtung | lampara*, foco*, luz, iluminacion | lampe*, lumiere, eclairage | lampada*, luz, iluminacao
timer: zeitschaltuhr, schaltuhr | temporizador, reloj | minuterie | temporizador
air: luft, beluftung | aire, aireacion | aeration | ar, aeracao
pump: pumpe*, luftpumpe | bomba* | pompe* | bomba*
air stone: luftstein*, ausstromer*, sprudelstein* | piedra*, difusor* | pierre*, diffuseur | pedra*, difusor*
bubbles: blasen | burbujas | bulles | bolhas
oxygen: sauerstoff | oxigeno | oxygene | oxigenio
salt: salz* | sal | sel | sal
salinity: salzgehalt | salinidad | salinite | salinidade
bicarbonate: natron, puffer, soda | bicarbonato, tampon quimico | bicarbonate | bicarbonato, tampao
water: wasser | agua* | eau | agua*
cysts: zysten, eier, cysten | cistos, quistes, huevos | oeufs, cystes | cistos, ovos
nauplii: nauplien, larven | nauplios, larvas | nauplies, larves | nauplios, larvas
wall: wand, rand | pared*, borde | paroi*, bord | parede*, borda
ring: ring, kruste | anillo, costra | anneau, croute | anel, crosta
clumps: klumpen, verklumpt | grumos, terrones | grumeaux, paquets | grumos, torroes
stuck: kleben*, klebt, hangen, festgesetzt | pegad*, adherid* | colle, colles, collees | grudad*, colad*
bottom: boden, grund | fondo | fond | fundo
settled: abgesetzt, gesunken | asentad*, sedimentad* | depose, deposes, decante | assentad*, decantad*
top: oben | arriba | haut | cima
taken: genommen, gezogen | tomad*, sacad* | pris, prise, preleve* | tirad*, tomad*
surface: oberflache | superficie | surface | superficie
tin: dose, dosen, buchse* | lata*, bote | boite* | lata*
old: alt, alte, alter, altes, alten | viej*, antiguo, antigua | vieux, vieille*, ancien, ancienne | velho, velha, velhos, velhas, antigo, antiga
new: neu, neue, neuer, neues, neuen | nuev* | nouveau, nouvelle* | novo, nova, novos, novas
mixed: gemischt, vermischt | mezclad*, mezcla, mezcle | melange* | misturad*, mistura
rest of the tin: rest der dose, dosenrest | resto de la lata, fondo de la lata | fond de la boite | resto da lata, fundo da lata
damp: feucht, nass | humed*, mojad* | humide*, mouille* | umid*, molhad*
shells: schalen, hullen | cascaras, cascara | coques, coquilles | cascas
sand: sand | arena | sable | areia
bleach: chlor, bleiche, chlorbad | cloro, lejia, hipoclorito | chlore, javel | cloro, hipoclorito
decapsulated: entkapselt, dekapsuliert | decapsulad* | decapsule* | decapsulad*
rinsed: gespult, ausgespult | enjuagad*, enjuague | rince* | enxaguad*
smells of: riecht nach | huele a, olor a | sent le, odeur de | cheira a, cheiro de
stinks: stinkt, gestank | apesta, mal olor, huele mal, podrido | pue, mauvaise odeur, puant | fede, mau cheiro
cloudy: trub, trube, milchig | turbia, turbio, lechos* | trouble, laiteu* | turv*, leitos*
slime: schleim*, schleimig | baba, limo, viscoso, viscosa | visqueu* | limo, viscoso, viscosa
foam: schaum | espuma | mousse, ecume | espuma
counted: gezahlt, zahlung | contad*, conte, cuento, conteo | compte, comptage | contad*, contei, contagem
sampled: beprobt, probe genommen | muestread* | echantillonne | amostrad*
sample: proben, stichprobe, wasserprobe | muestra*  | echantillon* | amostra*
harvested: geerntet, abgeerntet, ernte | cosechad*, cosecha | recolte* | colhid*, colheita
chamber: kammer, zahlkammer | camara | cellule | camara
dilution: verdunnung, verdunnt | dilucion, diluid* | dilution, dilue* | diluicao, diluid*
scale: waage | bascula, balanza | balance | balanca
spoon: loffel | cuchara*, cucharada* | cuillere* | colher*
weighed: gewogen | pesad*, pese | pese | pesad*, pesei
portion: portion, menge | porcion, racion | portion, dose | porcao, racao
level: wasserstand, fullstand | nivel | niveau | nivel
filled: gefullt, befullt | llen*, llenad* | rempli* | cheio, enchid*
bucket: eimer | cubo, balde, cubeta | seau | balde
fridge: kuhlschrank | nevera, refrigerador | frigo | geladeira
door: tur | puerta | porte | porta
window: fenster | ventana* | fenetre* | janela*
room: raum, zimmer, halle | cuarto, sala | salle | sala, quarto
night: nacht, nachts | noche | nuit | noite
morning: morgens, morgen | manana | matin | manha
all: alle, alles | todo, todos, toda, todas | tout, tous, toutes | todo, todos, tudo
many: viele | muchos, muchas | beaucoup, plusieurs | muitos, muitas
much: viel | mucho, mucha | beaucoup | muita
little: wenig | poco, poca | peu | pouco, pouca
half: halb, halbe, halber, halbes, halfte | mitad, medio | moitie, demi | metade, meio
only: nur | solamente | seulement, que la | apenas, somente
double: doppelt, doppelte | doble | double | dobro, duplo
too: zu | demasiad* | trop | demais
very: sehr | muy | tres | muito
nearly: fast, beinahe | casi | presque | quase
cold: kalt, kalte, kalter, kaltes, kuhl | frio, fria | froid* | frio, fria
hot: heiss, hei\u00df | caliente, calor | chaud* | quente, calor
warm: warm | tibi*, templad* | tiede* | morno, morna
salty: salzig | salad* | sale, salee | salgad*
fresh: suss, susse | dulce | douce | doce
sour: sauer | acido, acida, agrio, agria | acide, aigre | acido, acida, azedo, azeda
dark: dunkel | oscur*, obscur* | sombre, noir | escur*
strong: stark, kraftig | fuerte* | fort, forte | forte*
weak: schwach, schwache | debil*, floj* | faible* | fraco, fraca
high: hoch | alta | eleve, elevee | alta
low: niedrig, tief | baj* | basse*, bas | baix*
late: spat | tarde | tard, retard | tarde, atrasad*
early: fruh | temprano, antes de hora, antes de tiempo | tot, avant lheure | cedo, antes da hora
too long: zu lange, zu lang | mucho tiempo, demasiado tiempo | trop longtemps | tempo demais, muito tempo
long: lang, lange | largo | longtemps | longo
full: voll, voller | llen* | plein* | cheio, cheia
open: offen, geoffnet | abiert* | ouvert* | abert*
dead: tot, tote, toten | muert* | mort, morts, mortes | morto, morta, mortos, mortas
broken: kaputt, defekt, gebrochen, zerrissen | rota, roto, rotas, rotos, averiad*, descompuest*, danad*, estropead* | casse, cassee, casses, abime* | quebrad*, estragad*
empty: leer, leere | vaci* | vide, vides | vazi*
clogged: verstopft | tapad*, atascad*, obstruid* | bouche* | entupid*
stuck on: hing, hangt, klemmt | trabad*, atorad* | bloque* | travad*
off: aus, ausgefallen, ausgeschaltet, abgeschaltet | apagad*, se apago, desconectad* | eteint*, coupe*, arrete* | apagad*, desligad*
forgot: vergessen | olvid* | oublie* | esquec*
wrong: falsch, verkehrt | mal, equivocad*, incorrect* | faux, mauvais, mauvaise | errad*
error: fehler, irrtum | error | erreur | erro
swapped: vertauscht, verwechselt | cambiad*, confundid* | echange*, confondu* | trocad*, confundid*
spilled: verschuttet | derram* | renverse* | derram*
no: kein, keine, keinen, ohne | sin | sans, plus de, pas de | sem
not: nicht | no | pas | nao
ok: i.o., in ordnung, gut | bien, bueno | bien, bon | bem, bom
repaired: repariert | reparad* | repare* | consertad*
replaced: ersetzt, ausgetauscht | cambie, reemplazad* | remplace* | substituid*
cleaned: gereinigt, gewaschen, geputzt | limpi*, lavad* | nettoye*, lave | limpo, limpa, lavad*
the: der, die, das, dem, den | el, la, los, las | le, la, les | o, os, as
and: und | y | et | e
of: von, vom | de, del | de, du | de, do, da
with: mit | con | avec | com
at: am, im, beim | al, en | au, en | na
"""


def in_english(text: str) -> str:
    """Return a phrase with the words that one of the tongues knows put into English.

    Parameters
    ----------
    text : str
        In small letters.

    Returns
    -------
    str
        The phrase as it is where it holds no word of another tongue.
    """
    bare = _bare(text)
    words = re.findall(r"[^\W\d_]+", bare)
    best, most = None, 0
    for tongue in _glossaries():
        known = [w for w in words if tongue.meaning(w)]
        sure = [w for w in known if tongue.is_telling(w)] + [p for p, _ in tongue.idioms if p.search(bare)]
        if sure and len(known) + len(sure) > most:
            best, most = tongue, len(known) + len(sure)
    return best.translate(bare) if best else text


def one_letter_off(a: str, b: str) -> bool:
    """Tell whether two words differ by one letter put in, left out or changed, or by two neighbours swapped."""
    start = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    rest, other = a[start:], b[start:]
    swapped = rest[:2] == other[:2][::-1] and rest[2:] == other[2:]
    return swapped or rest[1:] == other[1:] or rest[1:] == other or rest == other[1:]


class _Glossary:
    """The words of one tongue."""

    def __init__(self, entries):
        self.idioms, self.words, self.stems = [], {}, {}
        for word, english in entries:
            if " " in word or "." in word:
                self.idioms.append((re.compile(rf"(?<!\w){re.escape(word)}(?!\w)"), english))
            elif word.endswith("*"):
                self.stems[word[:-1]] = english
            else:
                self.words.setdefault(word, english)
        self.small = {w for w, english in self.words.items() if english in _SMALL or len(w) < 3}

    def meaning(self, word):
        """The English of a word, or an empty text."""
        if word in self.words:
            return self.words[word]
        fitting = [stem for stem in self.stems if word.startswith(stem)]
        return self.stems[max(fitting, key=len)] if fitting else ""

    def is_telling(self, word):
        """A word of this tongue that is neither English nor small."""
        return bool(self.meaning(word)) and word not in _ALSO_ENGLISH and word not in self.small

    def translate(self, text):
        for pattern, english in self.idioms:
            text = pattern.sub(english.replace(" ", "\0"), text)
        text = re.sub(r"(?<![\0\w])[^\W\d_]+(?![\0\w])", lambda m: self.meaning(m[0]) or self._respelt(m[0]), text)
        return text.replace("\0", " ")

    def _respelt(self, word):
        if len(word) >= _LONG:
            for known, english in self.words.items():
                if len(known) >= _LONG - 1 and known[0] == word[0] and one_letter_off(known, word):
                    return english
            for stem, english in self.stems.items():
                if len(stem) >= _LONG and one_letter_off(stem, word[: len(stem)]):
                    return english
        return word


_SMALL = frozenset(("the", "and", "of", "with", "at", "not", "no", "too", "all", "only"))


@cache
def _glossaries():
    found = {tongue: [] for tongue in _TONGUES}
    for line in _TABLE.strip().splitlines():
        english, _, cells = line.partition(":")
        for tongue, cell in zip(_TONGUES, cells.split("|"), strict=True):
            for word in (_bare(w.strip()) for w in cell.split(",")):
                found[tongue].append((word, english))
    return tuple(_Glossary(entries) for entries in found.values())


def _bare(text):
    """Small letters without accents; ae, oe and ue of a German keyboard stay as typed."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in spread if not unicodedata.combining(c))
