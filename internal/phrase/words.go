package phrase

import (
	"slices"
	"strings"

	"clogwise/internal/plant"
)

// cue is a class of words that says what a message is about.
type cue uint8

// Cues. The words of each are in the lexicon below.
const (
	cNone cue = iota
	cFill
	cAnd
	cAt
	cAll
	cThese // a pronoun for places: "mine", "them"
	cPiece
	cOK
	cNot
	cLeft
	cSwap
	cChange
	cDone
	cClean
	cBefore
	cTo
	cOver
	cMinus
	cPegged
	cBounce
	cWet
	cZero
	cGauge
	cNoGauge
	cNoRead
	cLocked
	cFanOff
	cOff
	cDefect
	cFixed
	cShut
	cPart
	cVermin
	cSame
	cAmend
	cUndo
	cUsed
	cOrdered
	cWish
	cArrived
	cStock
	cBook
	cDoing
	cCancel
	cDefer
	cOnSite
	cStart
	cBack
	cJob
	cEvent
	cEventStrong
	cNear
	cBy
	cWith
	cDue
	cHow
	cChart
	cCost
	cWhy
	cSteps
	cStepsRead
	cOrders
	cCompare
	cOwed
	cVisits
	cDigest
	cStatus
	cHelp
	cAsk
	cCan
	cWork
	cHands
	cEnter
	cSafe
	cDead
	cRunning
	cKeeps
	cUnisolated
	cWithout
	cLimit
	cLock
	cRemove
	cSkipWord
	cForget
	cSet
	cCopy
	cFan
	cFor
	cMark
	cueCount
)

// cueSet is a set of cues: a word may be of several classes.
type cueSet [2]uint64

func (s cueSet) has(c cue) bool { return s[c/64]&(1<<(c%64)) != 0 }

func (s cueSet) any(cs []cue) bool {
	for _, c := range cs {
		if s.has(c) {
			return true
		}
	}
	return false
}

func (s *cueSet) add(c cue) { s[c/64] |= 1 << (c % 64) }

// lexicon lists the words and phrases of each cue in English, German and Spanish,
// folded to lower case without accents and apostrophes; | stands for a blank.
var lexicon = map[cue]string{
	cFill: `noisy|one loud|one era eso but aber sondern sino pero last last|time previous letzte zuletzt ultimo ultima since|last ago reading readings read dp|reading lese ablesung
		lecturas nachste nachsten within in|the|next next innerhalb proximos month week months weeks monat woche mes semana give send list show tell no a an
		the is it its was|has|have been are on in im ive i we us our of unit ahu|unit this that there here had filter filters bank banks dp pd delta pressure
		drop diff differential needle value reading|is gauge|reads reads reading|now pls please plz ta thx thanks thank|you cheers hi hello hey morning
		all|good afternoon folks guys team again also just still only got getting looking looks look showing shows show|ing approx about approximately around
		roughly circa ca ish say dirty black grey filthy manky heavy loaded loading high low steady stable good fine fresh nice quite very bit bad really
		filtro filtros el la los las lo un una de del al en esta estan es hay por|favor gracias hola buenos dias sein lectura presion der die das dem den ist sind
		ein eine am bei bitte danke hallo filterstufe druck differenzdruck wert anzeige liegt need|to needs|to plant room plantroom plant|room roof round my
		me your you be do does did will too so then site today|s set supply extract exhaust stage side air total each per was were as if any out up airflow
		flow volume wirklich noch schon jetzt|bei hat haben wurde wurden han sido fue se ha`,
	cAnd:   `and und y e plus n`,
	cAt:    `at um a|las`,
	cAll:   `all both every everything everyones alle beide alles ambos ambas todos todas todo`,
	cThese: `mine them these those ours`,
	cPiece: `off pcs pc pieces piece nos no|off ea each|of cells cell units|fitted stk stuck stueck unidades units uds ud piezas sets x qty count`,
	cOK:    `ok okay confirmed confirm sure really correct|value yes yep si ja stimmt bestatigt confirmado`,
	cNot: `arent werent aint hadnt noch|nicht cant cannot wont dont not statt instead|of en|vez|de rather|than didnt|get not|yet havent hasnt wasnt isnt never nicht kein keine ninguno didnt
		cant|change cannot|change couldnt|change not|been nicht|gewechselt`,
	cLeft: `hay|que|cambiarlas hay|que|cambiarlos hay|que|cambiarla hay|que|cambiarlo quedan queda ubrig gewechselt|werden getauscht|werden ausgetauscht|werden ersetzt|werden wechseln|mussen noch|wechseln hay|que|cambiar toca|cambiar por|cambiar
		falta|cambiar necesita|cambio necesitan|cambio deben|cambiarse left not|done left|for|tomorrow remaining outstanding to|do still|to|do
		tomorrow|instead next|time offen faltan falta pendiente|cambiar needs|changing need|replacing need|swapping need|changing needs|replacing need|replacing needs|swapping
		needs|a|change needs|to|be|changed to|be|changed not|changed due|a|change should|be|changed wants|changing must|be|changed nicht|gewechselt
		sin|cambiar not|swapped not|replaced want|changing`,
	cSwap: `gewexelt gewechslt gewechselt se|cambiaron se|cambio se|han|cambiado se|ha|cambiado sustituida reemplazada reemplazadas renovado renovados eingesetzt eingebaut gewechselt|worden getauscht|worden umgebaut gewechselte puesto|nuevos puestos|nuevos new|ones new|lot fresh|set fresh|bags
		changed swapped replaced renewed swopped chgd changed|out swapped|out changed|over fitted installed filters|in filter|change|done change|done
		changeout|done change|out|done swap|done put|in|new changing|done getauscht gewechselt ausgetauscht ersetzt erneuert filterwechsel|erledigt
		neu|eingesetzt cambiado cambiados cambiada cambiadas sustituido sustituidos sustituidas reemplazado reemplazados cambie cambio|hecho`,
	cChange: `cambiarlas cambiarlos cambiarla cambiarlo change swap replace renew changeout change|out filter|change filterwechsel wechsel wechseln tauschen cambiar cambio sustituir`,
	cDone:   `done finished complete completed all|done sorted|out fertig erledigt hecho listo terminado acabado`,
	cClean: `cleaned clean now after new start|dp starting|dp baseline clean|dp initial post afterwards currently sauber danach nachher jetzt neu neue limpio
		limpios ahora despues nuevo nuevos nuevas`,
	cBefore: `before was from old previous previously were|at dirty|at vorher war davor antes estaba de|antes`,
	cTo:     `to bis hasta until till til → thru`,
	cOver:   `over above more|than greater|than exceeds exceeding uber mehr|als mas|de`,
	cMinus:  `minus negative neg menos`,
	cPegged: `out|of|range pegged off|scale off|the|scale off|scale|high maxed maxed|out over|range overrange full|scale past|top past|the|top topped|out
		at|the|stop on|the|stop hard|over pinned needle|at|top top|of|scale off|the|clock off|the|top off|the|dial end|of|scale am|anschlag bis|anschlag auf|anschlag bis|zum|anschlag am|oberen|anschlag uber|skala
		vollausschlag fuera|de|escala fuera|de|rango al|tope a|tope hasta|el|tope en|el|tope`,
	cBounce: `bouncing bounces hunting fluctuating jumping swinging up|and|down unsteady unstable varying pulsing oscillating wobbling schwankt springt oscila
		oscilando variando`,
	cWet: `mojadas mojada humeda humedas humedos feuchte feuchter nasse nebelig wet foggy fog mist misty raining rain rainy damp soaked washed|coil coil|washed
		nass feucht nebel regen mojado mojados lluvia niebla humedo`,
	cZero:    `zero zeroed zero|check zero|checked zero|point nullpunkt nullpunkt|prufung null cero|ok cero|comprobado cero`,
	cGauge:   `gauges gauge mano manometer magnehelic meter manometro dial`,
	cNoGauge: `no|gauge no|dp|gauge without|gauge gauge|missing no|meter has|no|gauge na kein|manometer ohne|manometer sin|manometro no|manometer`,
	cNoRead: `nicht|gemacht no|la|hice no|lo|hice no|las|hice no|leido no|leida no|leidos no|leidas sin|leer no|se|leyo no|se|ha|leido nicht|gelesen keine|anzeige zeigt|nichts sin|indicacion no|indica no|marca no|display nicht|erreichbar kein|messwert no|pude|leer no|pudimos|leer no|reading no|readings couldnt|read could|not|read cannot|read cant|read unable|to|read
		not|read couldnt|get couldnt|get|to cant|get|to cant|get|in couldnt|get|in unread not|taken didnt|read didnt|get no|access couldnt|reach cant|reach
		keine|ablesung nicht|ablesbar nicht|abgelesen kein|zugang sin|lectura no|lectura no|hay|lectura sin|acceso no|se|puede|leer`,
	cLocked: `cant|get|in couldnt|get|in no|puedo|entrar no|pude|entrar no|pudimos|entrar komm|nicht|rein komme|nicht|rein kam|nicht|rein kommen|nicht|rein down|for|maintenance down|for|service out|for|maintenance raum|zu raum|abgeschlossen sala|cerrada locked locked|out no|key no|keys no|permit blocked|in blocked|off abgesperrt zugesperrt verschlossen abgeschlossen kein|schlussel sin|llave cerrado cerrada bloqueado`,
	cFanOff: `ausser|betrieb fuera|de|servicio out|of|service ventilator|steht anlage|steht lufter|aus lufter|steht gerat|steht ventilator|abgeschaltet anlage|abgeschaltet equipo|apagado unidad|parada
		maquina|parada ventilador|apagada fan|off fans|off fan|is|off fan|stopped fan|not|running fan|down unit|off unit|is|off unit|stopped unit|not|running
		ahu|off ahu|is|off not|running switched|off turned|off shut|down plant|off standing|still fan|was|off unit|was|off fan|tripped tripped ventilator|aus
		anlage|aus gerat|aus steht|still lauft|nicht abgeschaltet ausgeschaltet ventilador|apagado ventilador|parado apagado apagada parado parada
		equipo|parado`,
	cOff: `steht aus down stopped`,
	cDefect: `screaming screeching howling wont|shut wont|close doesnt|shut doesnt|close schliesst|nicht geht|nicht|zu no|cierra water|in wasser|in wasser|drin wasser|steht agua|en agua|dentro hangt|bei hangt|fest atascado atascada stuck|at heult jault aulla tornn rotas roturas rasgados rasgadas white|powder brown|powder strange|powder unknown|powder dripping drips tropft kabel|blank blanke|kabel blankes|kabel bare|wire bare|wires bare|cable exposed|wire exposed|wires asbestos asbest amianto lamp|on|when lamp|still|on light|still|on gotea wrong|filters|fitted wrong|filter|fitted wrong|filters wrong|filter wrong|size wrong|bags sagging backwards falscher|filter falsche|filter filtro|equivocado tur|offen klappe|offen puerta|abierta ausgefallen ausfall averia burnt burned motor|hot hot|motor flooded flooding water|on fan|running|hot fan|running|backwards fan|running|rough fan|running|wrong fan|wont|start
		fan|wont|stop wont|start lager|laut lager|defekt lagerschaden ventilator|laut motor|laut lufter|laut gerissene undichtigkeit verstopft klappert
		vibriert verbogen gebrochene averiada vibra goteando desgarrada desgarrado obstruido snapped perished seized stuttering fault burnt|out burned|out
		overheating fell|off came|off fallen|off squealing squeal squeals squeaking rattling rattle leaking leak leaks torn tear rip ripped burst collapsed
		broken broke cracked loose damaged damage missing vibration vibrating bearing bearings noisy noise smell smells burning|smell tripping blocked
		corroded rusty hole gap bypass bypassing fallen|out fell|out tube|off tube|was|off tube|fell|off tube|came|off hose|off disconnected kinked split bent
		out|of|order not|working door|open door|ajar door|not|closing seal|gone seal|perished gasket slipped belt|slipping water|ingress standing|water faulty
		stuck gauge|dead fan|dead sticking belt|gone frame|bent quietscht undicht gerissen defekt kaputt loch beschadigt lose schlauch|ab riemen larm roto
		rota rotos rasgado rasgada fuga chirria ruido danado suelto correa|suelta floja flojo averiado`,
	cShut: `closed shut cleared back|in|place geschlossen`,
	cPart: `belt belts motor motors seal seals gasket gaskets door doors tube tubes tubing hose hoses bearing bearings sensor sensors transmitter lamp lamps
		inverter vfd frame clip clips latch handle hinge hatch gauge gauges manometer magnehelic riemen keilriemen dichtung dichtungen tur schlauch schlauche
		lager fuhler rahmen umrichter correa correas junta juntas puerta tubo manguera rodamiento rodamientos marco manometro`,
	cVermin: `droppings poo poop guano excrement dead|bird dead|rat dead|mouse dead|pigeon dead|animal rat rats mice vermin pigeon pigeons nest mould mold mouldy
		moldy slime algae legionella vogelkot taubenkot kot ratten rattenkot mause schimmel tote|ratte toter|vogel tote|maus excrementos excremento palomas
		ratas raton ratones moho nido`,
	cFixed: `wieder|dran wieder|drauf wieder|fest closed shut mended sorted|now all|good|now instandgesetzt gerichtet geflickt wieder|zu wieder|dicht geschlossen reparada reparados arreglada
		cerrada|ya solucionado resuelto refitted refit fixed repaired reconnected put|back put|back|on resealed reseated tightened back|in|place cleared taped
		repariert behoben wieder|angeschlossen reparado arreglado conectado`,
	cSame: `as|before as|last|time no|different wie|vorher wie|zuletzt unverandert sin|cambios como|antes sigue|igual igual same|as|before same|as|last same|reading unchanged no|change no|drop same gleich|wie|vorher igual|que|antes`,
	cAmend: `me|equivoque verwechselt equivocado sollte wrong|ahu wrong|unit wrong|one falsche|anlage unidad|equivocada correction correct|that corrected should|be should|have|been should|read
		should|say shouldve|been meant i|meant typo mistyped my|mistake oops sorry wrong|it|is wrong|its actually korrektur korrigiere sollte|sein gemeint
		correccion corrijo deberia|ser queria|decir perdon`,
	cUndo: `nimm|das|zuruck nimm|es|zuruck scrap|last scrap|the|last loschen borra borra|eso eliminar|ultimo zurucknehmen nimm|zuruck letzten|loschen letzte|loschen borrar|ultimo quita|eso undo undo|that take|that|back take|it|back scrap|that delete|that
		delete|last remove|last scratch|that ignore|that|last cancel|that ruckgangig mach|ruckgangig deshacer deshaz anular|ultimo retract`,
	cUsed:    `used took taken consumed verbraucht entnommen verwendet usado usados usadas gastado gastados`,
	cOrdered: `ordered have|ordered order|placed on|order po|raised bestellt pedido|hecho pedidos pedido pedidas pedida encargados encargadas he|encargado hemos|encargado bestellte nachbestellt he|pedido`,
	cWish: `order reorder re|order need needs need|to|order pls|order please|order needs|ordering want require running|out|of short|of low|on bestellen brauche
		brauchen bitte|bestellen necesito necesitamos pedir hacen|falta`,
	cArrived: `arrived|at arrived received delivered delivery came|in turned|up goods|in in|from|supplier geliefert eingetroffen llegado llegaron recibido recibidos`,
	cStock: `stock in|stock stocks store stores in|store shelf on|the|shelf on|shelf counted inventory stocktake stock|count in|hand spares lager bestand auf|lager
		existencias almacen inventario`,
	cBook: `buche buch reserva reserve apunta apuntame apuntar rebook reschedule rescheduled book booking booked schedule scheduled plan planned pencil pencil|in slot|in einplanen eingeplant buchen termin reservar
		programar programado agendar`,
	cDoing: `will|be|changed will|be|swapped will|be|replaced going|to|be|changed getting|changed being|changed being|swapped werden|gewechselt|am move moving doing do ill|do well|do going|to|do going|to|change going|to|swap changing swapping replacing ill|change well|change will|change will|do
		planning tackling mache machen wechsle haremos hago cambiamos cambiaremos`,
	cCancel: `storniere absage streiche unbook unbooked un|book cancel cancelled canceled call|off called|off calling|off scrub scrap|booking stornieren storniert absagen abgesagt cancelar
		cancelado cancelada anular`,
	cDefer: `undefer undeferred un|defer deferral no|longer|deferred aufschub aplazamiento defer deferred deferring postpone postponed put|off push push|back
		pushed|back hold|off delay verschieben verschoben aufschieben aplazar aplazado posponer`,
	cOnSite: `angekommen|bei llegado|a in|situ estoy|en arrived|at on|site onsite at|site arrived|at|site vor|ort en|sitio en|planta`,
	cStart: `fang|an fange|mit beginn about|to|start about|to|begin starting starting|now starting|work start start|now started begin beginning beginne beginnen fange|an fange fangen starte starten anfangen empiezo empezamos empezando
		empezamos comienzo going|in`,
	cBack: `back|on back|running back|up running|again restarted back|online back|in|service up|and|running wieder|an wieder|in|betrieb lauft|wieder en|marcha
		otra|vez|en|marcha`,
	cJob:   `job jobs auftrag trabajo`,
	cEvent: `smoky smokey smoke fire wildfire bushfire harvest pollen dust|cloud dusty ash smog rauch ernte polvo humo`,
	cEventStrong: `smoky|outside smokey|outside smoke|outside smoke|from|outside smoke|in|the|air smoky|air rauch|draussen rauch|von|draussen humo|fuera humo|de|fuera
		grass|fire bush|fire bushfire wildfires heath|fire wild|fire wildfire|smoke forest|fire moor|fire building|work building|works construction|work
		construction|works construction demolition roadworks road|works sandstorm sand|storm dust|storm duststorm saharan sahara sahara|dust saharan|dust dusty|outside demolition|dust quarry|blasting volcanic|ash earthworks
		excavation grinding|outside stubble|burning sand|blasting baustelle bauarbeiten abbruch waldbrand staubsturm sandsturm obras demolicion
		incendio|forestal tormenta|de|polvo calima`,
	cNear: `nearby next|door outside neighbouring upwind across|the|road adjacent started|next in|der|nahe nebenan cerca al|lado`,
	cBy:   `by von por`,
	cWith: `with w mit con crew team|is`,
	cDue: `termine wechseltermine fristen que|hay|que|cambiar que|toca|cambiar que|filtros|hay|que|cambiar que|falta|cambiar que|filtros welche|filter was|wechseln was|muss welche|mussen que|hay|pendiente cuando|toca wann|fallig vencimientos proximos|cambios anstehend was|steht|an due due|list overdue whats|due
		whats|next next|up fallig falligkeiten was|ist|fallig que|toca pendientes vencidos to|change|list change|list duelist worklist which|filters|first
		what|needs|changing what|needs|doing`,
	cHow: `wie|gehts wie|gehts|es wie|geht wie|geht|es wie|steht wie|lauft wie|sieht como|estan que|tal how hw hwo howz hows|it hw|is how|is hows whens how|are how|does|it|look
		how|about whats|up|with tell|me|about what|about looking|like check how|long last|reading last|change last|changed history forecast when|will when|is
		when|does when|do when wann wie|steht|es|um wie|ist como|esta como|va cuando`,
	cChart: `bild imagen foto verlauf kurve tendencia historico chart graph plot curve trend picture show|me|the|curve diagramm grafik grafico grafica curva`,
	cCost: `how|much|does|waiting|cost how|much|would|waiting|cost what|does|waiting|cost cost|of|waiting was|kostet|das|warten was|kostet|warten cuanto|cuesta|esperar kostet was|kostet cuesta cuanto|gasta cost costs costing cost|of how|much|money energy kwh money wasted waste penalty kosten energie energiekosten
		coste costes cuanto|cuesta energia gasto`,
	cWhy: `why why|is explain reason|for warum wieso weshalb erklare por|que explica`,
	cSteps: `do|i|need|to|isolate do|i|have|to|isolate do|we|need|to|isolate do|i|need|to|stop do|i|have|to|stop do|i|have|to|turn|off do|i|need|to|turn|off
		do|i|need|to|switch|off do|i|have|to|switch|off muss|ich tengo|que|parar hay|que|parar how|do|i|safely how|to|safely how|do|i|change how|do|we|change
		how|to|change how|do|i|swap steps safe|work lockout|steps isolation|steps isolation|procedure safety|steps checklist how|do|i|isolate how|to|isolate
		how|do|i|lock loto|steps procedure schritte sicherheitsschritte freischalten pasos procedimiento pasos|de|seguridad consignacion`,
	cStepsRead: `steps|read read|steps read|the|steps read|them|steps steps|are|read steps|were|read steps|all|read steps|have|been|read read|and|understood have|read|it have|read|the|steps have|read|them have|read|steps
		schritte|gelesen schritte|sind|gelesen gelesen pasos|leidos he|leido|los leido leidos`,
	cOrders: `pedidos pedidos|pendientes lista|pedidos offene|bestellungen orders whats|on|order order|list what|to|order shopping|list parts parts|list to|order what|do|we|need|to|order bestellungen bestellliste
		lista|de|pedidos`,
	cCompare: `compare comparison versus vs against|item which|is|better which|is|cheaper vergleiche vergleich gegen comparar compara contra`,
	cOwed: `fehlende|messwerte messwerte|fehlen welche|messwerte offene|messwerte ausstehende|messwerte mediciones|pendientes mediciones|faltan ablesungen|fehlen fehlen|noch welche|ablesungen fehlende|ablesungen lecturas|faltan faltan|lecturas que|lecturas|faltan owed owing readings|owed
		missing|readings readings|missing whats|left|to|read left|to|read unread|units who|owes what|readings what|still|needs|reading outstanding|readings
		readings|due still|to|read noch|abzulesen offene|ablesungen lecturas|pendientes que|falta|leer`,
	cVisits: `visits visit visit|plan next|visit plan|visits route rundgang besuche visitas visita`,
	cDigest: `what|did|we|do|last|week what|have|we|done|last|week what|was|done|last|week what|happened|last|week what|did|we|do|this|week what|happened|this|week was|haben|wir|letzte|woche|gemacht was|war|letzte|woche was|wurde|letzte|woche|gemacht que|hicimos|la|semana|pasada que|se|hizo|la|semana|pasada resumen|semanal informe wochenubersicht digest weekly weekly|report weekly|summary summary report monday|report wochenbericht zusammenfassung bericht
		resumen informe|semanal`,
	cStatus: `status state state|of|play overview uberblick stand estado situacion`,
	cHelp:   `help commands what|can|you|do how|does|this|work how|do|i|use instructions usage hilfe ayuda befehle comandos`,
	cAsk: `hw hwo what whats which who whose when where how anyone|know do|we|have have|we|got got|any any|idea is|there are|there was welche welcher que cual
		cuales cuantos how|many wie|viele`,
	cCan: `can|i can|we could|i could|we may|i may|we is|it|ok|to is|it|ok|if ok|to alright|to want|to need|to going|to gonna let|me how|do|i|do should|i
		kann|ich konnen|wir kann|man darf|ich darf|man durfen|wir puedo podemos se|puede`,
	cWork: `work working clean do change swap replace work|on open enter go|in access service pull clean|out repair fix job wechseln cambiar abrir offnen warten`,
	cHands: `pop|the pop|open pop|off|the popping|the popping|open prise|open prising|open pry|open lift|the|hatch lift|the|lid crack cracking cambiarlas cambiarlos cambiarla cambiarlo quitarlas quitarlos sacarlas sacarlos change swap replace renew remove removing pull pulling pull|out take|out taking|out taking get|in get|into getting|in go|in go|into going|in
		going|into go|inside climb climb|in climb|into crawl|in crawl|into enter entering open opening open|up reach|in reach|into reaching|in swapping
		changing replacing fitting unbolt unclip dismantle strip clean|out wash|out work|on work|in work|inside working|on working|in working|inside work|at
		adjust tighten tension hot|swap filter|change filter|swap wechseln wechsle wechsel filterwechsel tauschen tausche austauschen auswechseln ersetzen
		erneuern ausbauen einbauen rausnehmen rausziehen herausnehmen herausziehen entnehmen ziehen offnen offne aufmachen aufschrauben betreten reingehen
		hineingehen einsteigen reinsteigen arbeiten arbeite reinigen filtertausch cambiar cambiando cambiamos cambio|de|filtros quitar quito quitando quitamos
		sacar saco sacando sacamos retirar retiro retirando extraer desmontar desmonto abrir abro abriendo entrar entro entrando limpiar limpiando trabajar
		trabajando sustituir reemplazar meterme meterse meter`,
	cEnter: `pop|the pop|open pop|off|the popping|the popping|open prise|open prising|open pry|open lift|the|hatch lift|the|lid go|in go|into go|inside get|in get|into climb|in climb|into crawl|in crawl|into enter open open|up reach|in reach|into step|inside betreten reingehen
		hineingehen rein reinsteigen einsteigen offnen aufmachen entrar abrir meterme`,
	cSafe: `safe|to ist|es|sicher es|seguro safe safely is|it|safe is|safe sicher gefahrlos seguro segura`,
	cDead: `tot spannungslos stromlos isolated locked|off locked|out dead proved|dead proven|dead de|energised deenergised deenergized freigeschaltet spannungsfrei abgeschaltet consignado
		consignada aislado aislada`,
	cRunning: `fan|still|going fan|still|spinning fan|still|turning still|going still|spinning fan|running fans|running fan|is|running fan|still|running fan|on
		fans|on fan|is|on fan|still|on fan|live fan|going fan|spinning fan|turning its|still|on its|running its|on its|still|running still|running live
		spinning turning running unit|running plant|running on|the|run on|the|fly hot|swap energised energized fan|not|off fan|not|stopped fan|not|isolated
		not|isolated not|switched|off not|locked|off laufend laufendem laufender laufende bei|laufendem|ventilator bei|laufender|anlage laufendem|ventilator
		laufender|anlage ventilator|lauft ventilator|lauft|noch ventilator|an lufter|lauft lufter|an anlage|lauft anlage|lauft|noch gerat|lauft lauft|noch
		unter|betrieb im|betrieb unter|spannung nicht|abgeschaltet nicht|freigeschaltet nicht|ausgeschaltet en|marcha con|el|ventilador|en|marcha
		ventilador|en|marcha ventilador|encendido ventilador|funcionando ventilador|girando en|funcionamiento encendido encendida funcionando equipo|en|marcha
		sin|consignado`,
	cKeeps: `keep|running keep|it|running keep|going keep|the|fan kept|running leave|running leave|it|running leave|it|on leave|the|fan whilst|running
		whilst|its|running while|running while|its|running while|its|on whilst|its|on without|off`,
	cUnisolated: `bypass|the|door|interlock bypass|door|interlock bypass|the|door|switch skip|isolation skip|the|isolation skip|isolating skipping|isolation
		no|need|to|isolate not|need|to|isolate dont|need|to|isolate need|not|isolate no|time|to|isolate not|isolating not|isolate bypass|isolation
		bypass|the|isolation bypass|interlock bypass|the|interlock bypass|door|switch override|interlock override|the|interlock defeat|interlock
		without|permit ohne|freigabe ohne|sicherung saltar|consignacion sin|permiso`,
	cWithout: `cant|be|stopped cant|be|shut cant|be|switched|off cant|be|isolated cant|be|turned|off cannot|be|stopped cannot|be|shut cannot|be|isolated must|stay|on
		must|stay|running has|to|stay|on has|to|stay|running has|to|keep|running fan|wont|stop nicht|abschaltbar kann|nicht|abgeschaltet no|se|puede|parar
		no|puede|parar without|shutting without|stopping without|isolating without|isolation without|turning without|switching without|switching|off
		without|lockout without|loto without|locking without|a|shutdown without|shutdown cant|shut cant|stop cant|turn|off cannot|shut cannot|stop
		cant|isolate cannot|isolate cant|switch|off wont|stop wont|shut no|shutdown no|isolation without|dead before|isolating ohne|abschalten
		ohne|abzuschalten ohne|freischaltung ohne|freischalten ohne|freizuschalten ohne|ausschalten ohne|auszuschalten ohne|stillstand ohne|abschaltung
		sin|parar sin|pararla sin|pararlo sin|apagar sin|apagarla sin|apagarlo sin|consignar sin|consignacion sin|desconectar sin|detener`,
	cLimit:    `limit limits threshold final|resistance setpoint alarm|level grenzwert grenzwerte limite limites`,
	cLock:     `lock locks padlock padlocks loto lockout lock|out tagout vorhangeschloss schloss candado candados`,
	cRemove:   `remove cut cutting take|off break bypass|lock pull|off override knock|off get|rid|of entfernen abnehmen aufbrechen knacken aufschneiden durchtrennen quitar cortar forzar romper`,
	cSkipWord: `auslassen auslasse weglassen saltarme skip skipped skipping leave|out miss|out shorten shorter short|version just|the|short|version without|the fewer uberspringen ubersprungen ausgelassen ausgelassene ohne|die saltar omitir omitida omitido omitidas lectura|saltada`,
	cForget:   `forget ignore disregard override vergiss ignoriere olvida ignora`,
	cSet:      `set raise lower increase reduce alter adjust move make setze andere pon sube baja`,
	cCopy: `same|as|last|wk same|as|last|week same|as|last|time same|as|last|month same|as|yesterday same|again copy copy|last copy|over repeat|last ditto dito
		reuse use|last|weeks use|last gleich|wie|letzte|woche wie|letzte|woche igual|que|la|semana|pasada same|as|previous|week same|numbers`,
	cFan:  `fan fans ventilator ventilador speed drive vfd inverter`,
	cFor:  `for fur para`,
	cMark: `mark flag record log enter put`,
}

// orderWords say that something is to be ordered, not only needed.
var orderWords = []string{"order", "reorder", "re order", "pls order", "please order", "bestellen", "bitte bestellen", "pedir"}

// phrases holds the lexicon by first word, longest phrase first.
var phrases = buildPhrases(lexicon)

type phraseEntry struct {
	words []string
	cues  cueSet
}

func buildPhrases(lex map[cue]string) map[string][]phraseEntry {
	all := map[string]*phraseEntry{}
	for c, list := range lex {
		for _, p := range strings.Fields(list) {
			e, ok := all[p]
			if !ok {
				e = &phraseEntry{words: strings.Split(p, "|")}
				all[p] = e
			}
			e.cues.add(c)
		}
	}
	out := map[string][]phraseEntry{}
	for _, e := range all {
		out[e.words[0]] = append(out[e.words[0]], *e)
	}
	for w := range out {
		slices.SortFunc(out[w], func(a, b phraseEntry) int { return len(b.words) - len(a.words) })
	}
	return out
}

// stageWord is what a word for a stage can mean.
type stageWord struct {
	stage  plant.Stage
	last   bool // "final": the last stage of the supply air, whatever its number
	single bool // one letter: only before a colon or a number
	plural bool // names the pieces too: "12 bags"
}

var stageWords = buildStages(map[plant.Stage]string{
	plant.Primary: `grobfilter grobstaubfilter vorfiltern vorfilters filtro|previo filtros|previos* filtro|primario filtros|primarios* filtro|plano filtros|planos*
		prefiltracion pre pres* pri prim prims primary primaries panel panels* pleat pleats* pleated prefilter prefilters* roughing p stage1 vorfilter vf
		erste|stufe vorfilterstufe prefiltro prefiltros* primario primarios* primera|etapa first|stage 1st|stage flat|panel flat|panels* pre|filter
		pre|filters* primary|filter primary|filters* panel|filter panel|filters* prim|filter prim|filters* pleated|filters*`,
	plant.Secondary: `tf feinstaubfilter taschenfiltern filtertaschen* filtro|fino filtros|finos* filtro|de|bolsa filtros|de|bolsa filtros|de|bolsas* filtro|bolsa filtro|secundario filtros|secundarios* manga
		mangas* filtro|de|mangas sec secs secondary secondaries bag bags* pocket pockets* final! finals!* b s f! stage2 sec|filter sec|filters*
		secondary|filter secondary|filters* tasche taschen* taschenfilter* hauptfilter feinfilter endfilter! zweite|stufe beutel beutelfilter bolsa bolsas*
		secundario secundarios* filtro|final! filtro|de|bolsas* bag|filter bag|filters* pocket|filter pocket|filters* final|filter! final|filters!*
		second|stage 2nd|stage segunda|etapa`,
	plant.Third: `absoluto absolutos* filtro|absoluto filtros|absolutos* absolutfilter third tertiary hepa hepas* third|stage 3rd|stage stage3 hepa|filter hepa|filters*
		schwebstofffilter dritte|stufe terciario tercera|etapa`,
	plant.Return: `abluft abluftfilter ruckluftfilter filtros|de|retorno return returns ret rtn return|air return|filter return|filters* return|air|filter
		return|air|filters* recirc umluft umluftfilter ruckluft retorno filtro|de|retorno`,
})

// longStages are the stage words long enough to be known with a letter wrong.
var longStages = map[string]plant.Stage{
	"primary": plant.Primary, "prefilter": plant.Primary, "vorfilter": plant.Primary, "prefiltro": plant.Primary,
	"secondary": plant.Secondary, "taschen": plant.Secondary, "taschenfilter": plant.Secondary,
}

// StageOf returns the stage that a crew's word means, for tables that people fill in:
// "bag", "pleats", "Vorfilter". Single letters mean nothing there.
func StageOf(name string) (plant.Stage, bool) {
	words := strings.Fields(fold(name))
	if len(words) == 0 {
		return "", false
	}
	for _, p := range stageWords[words[0]] {
		if !p.single && slices.Equal(p.words, words) {
			return p.stage, true
		}
	}
	return "", false
}

type stagePhrase struct {
	words []string
	stageWord
}

func buildStages(lists map[plant.Stage]string) map[string][]stagePhrase {
	out := map[string][]stagePhrase{}
	for st, list := range lists {
		for _, p := range strings.Fields(list) {
			w := stageWord{stage: st}
			p, w.plural = strings.CutSuffix(p, "*")
			p, w.last = strings.CutSuffix(p, "!")
			w.single = len(p) == 1
			words := strings.Split(p, "|")
			out[words[0]] = append(out[words[0]], stagePhrase{words, w})
		}
	}
	for w := range out {
		slices.SortFunc(out[w], func(a, b stagePhrase) int { return len(b.words) - len(a.words) })
	}
	return out
}
