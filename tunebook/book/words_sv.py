"""The fixed words in Swedish."""

from collections.abc import Mapping
from typing import Any

from tunebook.book.fixed_words import FixedWords

SWEDISH = FixedWords(
    language="sv",
    kind="keyed",
    opening_quote="”",
    decimal_sign=",",
    edited_by="Sammanställd av {}",
    for_instrument="för {}",
    tuned="stämd {}",
    cautions_title="Innan du spelar",
    cautions=(
        "Värm upp. Börja med några minuters långsamt och lätt spel; kalla händer spelar dåligt "
        "och skadas lätt.",
        "Vila. Lägg ifrån dig instrumentet fem minuter varje halvtimme, låt armarna hänga och "
        "tänj försiktigt händer, axlar och rygg.",
        "Sluta genast om något gör ont, sticker eller domnar. Smärta hör inte till övningen. "
        "Kommer den tillbaka: låt en lärare se hur du sitter, håller och trycker, och gå till en "
        "läkare.",
        "Fingersättningarna är förslag. De är uträknade för den hand som anges i slutet av boken; "
        "där ett grepp inte passar din hand tar du ett annat finger eller en annan sträng. En "
        "lärares råd går före allt som är tryckt här.",
        "Var rädd om ögonen när du stämmer. Höj strängen långsamt och aldrig över den ton den är "
        "gjord för: en sträng som brister kan träffa ansiktet. Håll ansiktet borta från "
        "strängarna, och använd strängar som är avsedda för tonen när du byter stämning.",
    ),
    contents="Innehåll",
    contents_by_title="I bokstavsordning",
    front_matter="Före låtarna",
    back_matter="Efter låtarna",
    other_tunes="Övriga låtar",
    signs_title="Så läser du tecknen",
    signs_rest="Allt annat är vanlig notskrift: repriser, hus och stråk betyder det de brukar.",
    legend={
        "finger": "Siffran över noten är vänsterhandens finger: 1 pekfinger, 2 långfinger, "
        "3 ringfinger, 4 lillfinger; 0 är lös sträng. Där fingret är självklart står ingen "
        "siffra.",
        "string": "En liten bokstav över siffran anger strängen, där melodin byter sträng utan "
        "att det framgår av noterna.",
        "crossed": "Ett litet kryss vid siffran betyder korsat grepp: två fingrar på samma plats "
        "i var sin rad, så att inget finger behöver hoppa.",
        "barre": "Ett finger ligger platt över två rader.",
        "drone": "Det lilla notsystemet visar bordunen som stryks tillsammans med melodin. "
        "Siffran är fingret som håller den; 0 är lös sträng.",
        "take_over": "En siffra över en överbunden bordunton: ett annat finger tar ljudlöst över "
        "nyckeln.",
        "chord": "Ackordsbeteckningarna är till för den som ackompanjerar. Moll skrivs m, "
        "förminskat ackord dim.",
        "solved_chord": "Kursivt ackord är programmets förslag där låten inte har något eget "
        "ackord; rakt ackord står i förlagan.",
        "doubtful_chord": "Ackord inom parentes är ett förslag som mycket väl kan bytas mot ett "
        "annat.",
        "shape": "Ett ackordgrepp. Varje linje är en sträng, den lägsta underst; en fylld prick "
        "är en nyckel som trycks ned med det finger som anges, en ring är lös sträng. Stryk "
        "nedifrån och upp.",
        "accompaniment": "Ackompanjemangets notsystem visar ackordgreppen i låtens rytm.",
        "beyond": "En markerad takt går utöver vad utgåvan annars kräver.",
        "hard": "En markerad takt hör till de svåraste i låten.",
        "changed": "En markerad takt har annan fingersättning än i den tidigare stämningen.",
        "unplayable": "En not inom parentes går inte att spela på det här instrumentet i den här "
        "stämningen: den ligger utanför omfånget, eller så kan tonerna inte tas samtidigt.",
        "quarter_tone": "En pil över en not med kvartstonsförtecken: fingret hör till nyckeln "
        "bredvid, och tonen ska ligga en kvartston högre (uppåt) eller lägre (nedåt).",
    },
    foot_finger="0–4 finger",
    foot_string="liten bokstav: sträng",
    foot_crossed="× korsat grepp",
    foot_drone="litet notsystem: bordun och fingret som håller den",
    foot_solved="kursivt ackord: förslag",
    foot_beyond="streckad linje: utöver denna nivå",
    foot_hard="grå takter: de svåraste",
    foot_changed="linje över takter: annan fingersättning än förut",
    foot_unplayable="not inom parentes: går inte att spela här",
    foot_quarter_tone="pil: en kvartston från nyckeln",
    instrument_title="Instrumentet",
    tuning="Stämning",
    playing_strings="Spelsträngar, från den lägsta",
    sympathetic_strings="Resonanssträngar",
    sympathetic_text="En för varje halvton; de stryks inte, utan klingar med i tonerna som "
    "spelas. Från den lägsta:",
    keybox_text="Knaverlådan, skalenligt ritad: sadeln är till vänster, stallet långt till höger, "
    "den lägsta strängen underst. På varje nyckel står tonen den ger.",
    fingerboard_text="Greppbrädan, skalenligt ritad: sadeln är till vänster, den lägsta strängen "
    "underst. På varje plats står tonen den ger.",
    first_position="Första läget",
    first_position_text="De skuggade nycklarna är de som ligger under de fyra fingrarna i "
    "första läget, lika på alla rader.",
    compass="Omfång",
    key_counts="{} nycklar",
    no_keys="inga nycklar: bordun",
    one_key="1 nyckel",
    highest_note="upp till {}",
    string_length="Sadel till stall",
    bow_text="Stråken får en sträng att klinga, eller två som ligger intill varandra. Tre eller "
    "fyra strängar kan bara brytas, ett strängpar i taget nedifrån.",
    modes={
        "ionian": "dur",
        "dorian": "dorisk",
        "phrygian": "frygisk",
        "lydian": "lydisk",
        "mixolydian": "mixolydisk",
        "aeolian": "moll",
        "locrian": "lokrisk",
    },
    key_joint="-",
    is_minor_lower=True,
    key_names={
        "C♯": "Ciss",
        "D♭": "Dess",
        "D♯": "Diss",
        "E♭": "Ess",
        "F♯": "Fiss",
        "G♭": "Gess",
        "G♯": "Giss",
        "A♭": "Ass",
        "A♯": "Aiss",
        "C♭": "Cess",
    },
    note_names="h",
    note_names_text={
        "b": "B är tonen en halvton under C, B♭ en helton under.",
        "h": "H är tonen en halvton under C, B en helton under.",
    },
    low_string="låga {}",
    no_key="ingen tonart angiven",
    ends_on="slutar på {}",
    begins_on="nästa börjar på {}",
    same_key="samma tonart",
    key_change="från {} till {}",
    open_string="lös {}",
    key_place="{}-strängen, nyckel {}",
    also="Även: {}",
    part_order="ordning {}",
    continued="forts.",
    source="Källa: {}",
    practice_title="Övningar",
    practice_text="Spela varje övning långsamt och lätt först, och aldrig fortare än att det "
    "känns lätt. Några minuter om dagen ger mer än en timme på en gång. Vila mellan övningarna och "
    "sluta om något gör ont.",
    chords_title="Ackord",
    chords_text="Alla ackord i boken, med de grepp som ligger bäst på detta instrument. Den "
    "lägsta strängen är underst; en siffra är ett finger, en ring är lös sträng. Grepp över tre "
    "eller fyra strängar bryts, ett strängpar i taget nedifrån.",
    chord_in="i {}",
    index_titles="Titelregister",
    index_types="Register över låttyper",
    index_keys="Register över tonarter",
    index_techniques="Register över spelsätt",
    index_openings="Register över inledningar",
    index_openings_text="Ordnat efter de skalsteg som låten börjar med: 1 är grundtonen. "
    "Upptakten räknas med.",
    no_type="Övriga",
    techniques={
        "crossed": "Korsade grepp",
        "barre": "Barrégrepp",
        "row_jump": "Radhopp",
        "shift": "Lägesväxlingar",
        "substitution": "Ljudlösa fingerbyten",
        "held_drone": "Hållen bordun",
        "open_drone": "Bordun på lös sträng",
        "double_stop": "Dubbelgrepp",
        "above_first": "Lägen över första läget",
        "little_finger": "Mycket lillfinger",
        "triplet": "Trioler",
        "grace": "Förslag",
        "chord": "Ackord ur källan",
    },
    all_but="{}: alla låtar utom",
    ladder_title="Från lätt till svårt",
    ladder_text="Låtarna i svårighetsordning, så som den är uträknad: vänsterhandens möda per "
    "sekund i det tempo som anges. Stråkföring och uttryck räknas inte, så lyssna och avgör själv.",
    reason_shifts=("{} lägesväxling", "{} lägesväxlingar"),
    reason_crossed=("{} korsat grepp", "{} korsade grepp"),
    reason_jumps=("{} radhopp", "{} radhopp"),
    reason_highest="upp till nyckel {} på {}",
    reason_first="första läget",
    reason_held="hållen bordun",
    reason_barre="barrégrepp",
    sources_title="Källor",
    composer="Av",
    origin="Från",
    found_in="Källa",
    transcribed="Uppteckning",
    remark="Anmärkning",
    colophon_title="Om boken",
    colophon_text="Fingersättningar, borduner och ackord är uträknade: av alla sätt att spela en "
    "låt trycks det som är lättast enligt en beräkning av sträckningar, lägesväxlingar, hopp och "
    "korsade grepp på den tid som finns. Det är inte detsamma som vad en god spelman skulle "
    "välja.",
    edition="Utgåva",
    instrument="Instrument",
    hand="Hand",
    hand_direction=("lägre finger på den högre strängen", "högre finger på den högre strängen"),
    hand_barre=("ingen barré", "barré tillåten"),
    hand_spans="bekväma spännvidder {} mm",
    paper="Papper",
    staff_size="Notsystemets höjd",
    tempo="Tempo",
    tempo_text="Ett tempo inom parentes kommer inte från källan utan är vanligt för låttypen.",
    default_tempi="Antagna tempi",
    fonts="Typsnitt",
    licences={
        "text": "{} (GNU AGPL 3 med undantag för inbäddning i dokument)",
        "fallback": "{} för det som saknas i dem (får bäddas in fritt)",
        "alone": "{} (får bäddas in fritt)",
        "music": "noter: Emmentaler (GNU GPL 3 med undantag för typsnitt, eller SIL OFL 1.1)",
    },
    program="Framställd med",
    date="Datum",
    page="sidan",
    names={
        "Nyckelharpa, three rows": "Nyckelharpa, tre rader",
        "Nyckelharpa, four rows": "Nyckelharpa, fyra rader",
        "Fiddle": "Fiol",
        "Viola": "Altfiol",
        "Player's edition": "Spelmansutgåva",
        "Teacher's edition": "Lärarutgåva",
        "Student edition, level 1": "Elevutgåva, nivå 1",
        "Student edition, level 2": "Elevutgåva, nivå 2",
        "Student edition, level 3": "Elevutgåva, nivå 3",
        "small": "liten",
        "medium": "medelstor",
        "large": "stor",
    },
)

# What is said otherwise of an instrument with a fingerboard, which has no keys.
FINGERBOARD: Mapping[str, Any] = {
    "kind": "fingerboard",
    "legend": {
        "crossed": "Ett litet kryss vid siffran betyder korsat grepp: två fingrar på samma plats "
        "på var sin sträng, så att inget finger behöver hoppa.",
        "barre": "Ett finger griper två strängar.",
        "take_over": "En siffra över en överbunden bordunton: ett annat finger tar ljudlöst över "
        "den gripna tonen.",
        "shape": "Ett ackordgrepp. Varje linje är en sträng, den lägsta underst; en fylld prick "
        "är en plats att gripa med det finger som anges, en ring är lös sträng. Stryk nedifrån "
        "och upp.",
        "quarter_tone": "En pil över en not med kvartstonsförtecken: fingret hör till halvtonen "
        "bredvid, och tonen ska ligga en kvartston högre (uppåt) eller lägre (nedåt).",
    },
    "foot_quarter_tone": "pil: en kvartston från platsen",
    "first_position_text": "De skuggade platserna är de som ligger under de fyra fingrarna i "
    "första läget, lika på alla strängar.",
    "key_counts": "{} halvtoner",
    "no_keys": "bara lös: bordun",
    "one_key": "1 halvton",
    "key_place": "{}-strängen, finger {}",
    "techniques": {"barre": "Ett finger på två strängar", "row_jump": "Hopp mellan strängar"},
    "reason_jumps": ("{} hopp mellan strängar", "{} hopp mellan strängar"),
    "reason_highest": "upp till {} på {}",
    "reason_barre": "ett finger på två strängar",
}
