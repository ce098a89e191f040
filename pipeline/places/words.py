"""Words of the trade in English, Spanish, Portuguese and French, by what they stand for.

Common practice throughout: words and abbreviations as mills write them, in small letters without
accents; words joined by ``_`` stand behind each other. A word may stand in several lists: "cal" is
lime and also the start of heater in Spanish; what stands beside it, the unit and the level decide.
"""

from __future__ import annotations

from collections import defaultdict
from typing import Final

#: What is measured.
_QUANTITIES: Final = """
q_flow: flow flw flo fluxo flujo caudal caud vazao vaz vz debit deb durchfluss gasto flowrate rate
    volumetrico dbt flowmeter caudalimetro
q_temp: temperature temperatura temp tmp tmpt temper temperat tem degc grados_c
q_ph: ph acidez
q_brix: brix bx brx solids refractometer refractometro refratometro rds briks
q_level: level lvl lev nivel niv nvl nv niveau height altura hauteur interface interfase
q_press: pressure press pres prs presion pressao pression prsn prss
q_turb: turbidity turb turbidez turbiedad turbidite ntu trb
q_cond: conductivity conductividad condutividade conductivite cond conduct cndct ec
q_rate: ton tons tonelaje tonnage tph weight peso poids pesagem bascula balanza balanca scale
    weigher ritmo cadencia
q_density: density densidad densidade densite dens baume
"""
#: What flows or stands there.
_MATERIALS: Final = """
cane: cane cana canne cn crush crushing grinding tch tcd throughput moagem molienda broyage
    crushed milling zafra
mixed: mixed mixto misto mixte mezclado melange raw crude crudo cru brut mj rj dj jm jmx jmix cm
    cmx jmel diluted diluido dilue draft draught jd jb mix mxd mxt jugomix bruto mixjuice
    sulphited sulfitado sulfited mel mezc pesado
limed: enc encl limed encalado caleado alcalizado chaule lj jenc jal jalc caleo cal_juice dosado
    jch alkalised alkalized lmd encal alcal caleada tratado cdos trated treated reaction reacted
    echaule jcal je jcl
clear: clear clarified claro clarificado clair clarifie cj jc jcl clr cd cclar jclar cjuice
    decantado decante jdec cdec clj esj ej clarificada clean limpio jclr cjce clarif dec clar
    clarific
juice: juice jugo caldo jus jce jc jug juic jui cld jg guarapo saft
mud: mud muds lodo lodos cachaza lama lamas underflow uf boue boues cachaca cach sludge schlamm
    ecume ecumes purga barro uflow
filtrate: filtrate filtrado filtre filtrada jf cf filtered jfil fj cfil filtrat jfilt
imbibition: imbibition imbibicion embebicao imb imbib embeb maceration maceracion maceracao
    embebicion emb eau_imb imbibicao maz ai imbw
water: water agua eau ag wtr
lime: lime cal chaux lechada leite milk mol lait leite_cal lc ldc lm cao milkoflime saccharate
    sacarato lchd ca_oh lecal
flocculant: flocculant floculante floculant floc floccul polymer polimero polymere poli pol flc
    flocul polim flo flok pmr
steam: steam vapor vapour vapeur stm vap vg vv bleed vegetal vp v1 dampf vpr vap1 vegetales
syrup: syrup meladura xarope sirop jarabe melado syr mel
main_steam: exhaust escape escapamento live vivo vive echappement
"""
#: Where.
_EQUIPMENT: Final = """
mill: mill mills tandem molino molinos moenda moendas moulin moulins ml mln mol trapiche diffuser
    difusor diffuseur extraction extraccion extracao
heater: heater heaters calentador calentadores aquecedor aquecedores rechauffeur rechauf htr
    calent aquec aq rech cal ht calen calefactor jh exchanger intercambiador trocador echangeur hx
    htx rch calt regenerador heating calentamiento aquecimento rechauffage calentad aquecido
    calentado rechauffe heated chauffe aquecida
primary: primary primario primaria primaire prim pri 1ry prm pry 1er 1ro first primeiro premier
    primero p1 1st
secondary: secondary secundario secundaria secondaire sec scd 2ry secund secon sdry 2do 2nd second
    segundo deuxieme scdry
tertiary: tertiary terciario terciaria tertiaire terc tert 3ry 3rd
liming: liming limer encalamiento encaladora encalador caleagem caleacao chaulage echaulage
    alcalizacion alcalizador alcalizado_tk lt preparador calagem alkalisation ltk lim preliming
    dosagem reactor
tank: tank tanque tk tq tnk tnq tqe bac cuve tanq reservoir deposito caixa vessel recipiente bin
    tac tan
flash: flash flasheo ft detente expansion flsh bf balao balon ballon flashtank flx expansao
    autoevaporacion
clarifier: clarifier clarifiers settler subsider clarificador clarificadores decantador
    decantadores decanteur clarificateur clarif clf st dec dcnt clar sett clfr clr subs decant
    rapidorr dorr trayless decantacion decantacao decantation clarification clarificacion
    clarificacao settling cla dct clx
evaporator: evaporator evaporators evaporador evaporadores evaporateur evap ev eva evp vaso cuerpo
    corps caisse effect efecto efeito effet body preevaporator preevap preevaporador
    pre_evaporador pre_evaporator pre_evaporateur pev evaporation evaporacion evaporacao multiple
    calandria pre_evap kestner
filter: filter filters filtro filtros filtre_rotatif rvf vf filt filtracion filtration filtracao
    prensa belt oliver
clear_tank: tjcl tqj bacjc ct cjt tjc cleartank tkjc tqjc bjc tcd tcc cjtk ctk
clear_heater: tjh cjc rjc acc ch cjh preheater precalentador hjc
first_evap: e1 ev1 evap1 preevap pre1 ef1 ev01 v01 primer_efecto premier_effet
primary_heater: pjh cjp rjp acp hp cp ap rp pht ph1 htr1 heater1 cal1 aq1 rech1 calent1 phtr
secondary_heater: sjh cjs rjs acs sh hs cs as rs sht sh1 htr2 heater2 cal2 aq2 rech2 calent2 shtr
    rectifier rectificador rectificadores
"""
#: Which side.
_SIDES: Final = """
in: in inlet entrada entree ent inl feed alimentacion alimentacao alimentation alim input ingreso
    inflow entr arrivee before antes avant fd e
out: out outlet salida saida sortie sal sai exit outflow discharge descarga leaving after sort
    outl despues apres sda s
top: overflow rebose derrame surverse top sobrenadante
bottom: bottom fondo fundo fond inferior underside cone cono
dose: dosagem dosificacion dosing dosage dose dosis dosador dosificador
to: to para vers al hacia hasta
"""
#: What is no measurement: what one is held at, what a controller puts out, a sum, a state.
_ROLES: Final = """
r_set_point: sp set_point setpoint setpt stpt spt consigna consigne ajuste referencia target
    setpnt set sollwert cons punto_ajuste ponto_ajuste csg spv sv lsp rsp objetivo meta
r_output: op output mv outp cv valve valvula vanne vlv val valv opening apertura abertura
    ouverture position posicion posicao fcv lcv tcv pcv xv cmd mando comando commande salida_pid
    control_out ctrl_out actuador zt control_output saida_pid salida_control sortie_reg outpct
r_total: total tot totalizer totalizador totaliser totalisateur acum acumulado cumul cumule
    accumulated cumulative totalizado acc ttl totaliz acumulada integral totale totalised cumulado
r_speed: rpm speed velocidad velocidade vitesse rotacao vel hz frequency frecuencia frequencia vfd
    variador inversor drive giro spd freq
r_current: amp amps amperes corriente corrente courant current motor amperaje intensidad ampere
    power potencia puissance kw mtr load carga torque par_motor vibration vibracion
r_status: status estado etat run running marcha alarm alarma alarme trip fault falla falha
    running_status auto manual mode modo on off permissive interlock state horometro switch
r_value: pv process_value value valor valeur measured medida medido mesure val act actual
r_error: deviation desviacion error desvio ecart dev diff diferencial differential ratio relacion
    calc calculated calculado average promedio media moyenne avg delta
"""
#: Parts of the factory that are no clarification station.
_OUTSIDE: Final = """
outside: boiler caldera caldeira chaudiere turbine turbina generator generador gerador tacho pan
    pans cuite vacuum_pan centrifuge centrifuga centrifugal centrifugeuse molasses miel mel_final
    melaza melasse melaco condenser condensador condenseur cooling enfriamiento refrigeracion
    bagasse bagazo bagaco magma crystalliser cristalizador malaxeur dryer secador sugar azucar
    acucar sucre furnace horno smoke chimney stack deaerator desaireador fermentation fermentacion
    fermentador dorna distillery destileria destilaria knife knives cuchillas shredder picadora
    desfibrador conveyor conductor esteira conveyer banda tapiz vacuum vacio vide rinse ambient
    ambiente oil aceite bearing chumacera lubricacion air aire compressor compresor effluent
    efluente river pond spray feedwater massecuite masa seed remelt refundido wash lavado lavage
    transformer spare reserva libre dummy test lubrication rainfall cooler tower torre washing
    carbonatation sulphur azufre enxofre tailbar hydraulic condensate condensado condensat
    condensados so2 so screen tamiz peneira tamis colador mixer mezclador mingler misturador
    malaxador slaker apagador
"""
#: Words that say nothing.
_EMPTY: Final = """
interior inside dentro interieur intern interno de del do da des du la le el los las of the and y
et e from desde depuis au aux por par en no nr num tag ch unit plant area station line linea linha
ligne control ctrl indicator indicador transmitter transmisor transmissor sensor meter medidor
probe sonda n o a s d l i c b pump bomba pompe bba pmp main ppal principal hot caliente quente
chaud cold frio
"""
#: Words too short or too common to be looked for inside others.
_ALONE_ONLY: Final = """
act ag ai ap as bin cal ch cn cp cs ct cv dec ec ej ft hp in lt mel ml mol mv off on op pol rate
rp rs sal set sh st sv tac tan to ton val vg vp vv vz
"""


def _lists(text: str) -> dict[str, list[str]]:
    """Words by the concept at the start of their list."""
    found: dict[str, list[str]] = {}
    concept = ""
    for word in text.split():
        if word.endswith(":"):
            concept = word[:-1]
        else:
            found.setdefault(concept, []).append(word)
    return found


def _by_word() -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = defaultdict(list)
    for group in (_QUANTITIES, _MATERIALS, _EQUIPMENT, _SIDES, _ROLES, _OUTSIDE):
        for concept, words in _lists(group).items():
            for word in words:
                found[word].append(concept)
    return {word: tuple(concepts) for word, concepts in found.items()}


#: Concepts that a word may stand for.
MEANINGS: Final = _by_word()
EMPTY: Final = frozenset(_EMPTY.split())
QUANTITIES: Final = frozenset(_lists(_QUANTITIES))
ROLES: Final = frozenset(_lists(_ROLES))
ALONE_ONLY: Final = frozenset(_ALONE_ONLY.split())
