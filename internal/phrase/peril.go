package phrase

import "strings"

// peril is a class of words that may tell of somebody or something in danger now.
type peril uint16

const (
	perilFire   peril = 1 << iota // flames, sparks, a blast
	perilSmoke                    // which may as well be a heath's
	perilBurnt                    // only with a word for a smell
	perilGas                      // only with a word for a smell or a leak
	perilInjury                   // somebody is hurt
	perilHarm                     // only with a part of the body: "cut my hand"
	perilFall                     // only of a person, or from a height
	perilShock                    // only one that somebody got
	perilDown                     // only of a person: "Idris collapsed"
	perilShut                     // only of a person in something: "Idris is stuck in AHU-3"
	perilHelp                     // only with what stands beside it: "call 999", "chest pain"
	perilStart                    // only of a fan or power that came on with people inside
)

// perils gives the classes of each word: English, German, Spanish, folded. Rather
// one too many: a false alarm costs a call, a missed one more.
var perils = buildPerils(map[peril]string{
	perilFire: `fire fires flame flames ablaze alight burning burns spark sparks sparking arcing explosion exploded exploding feuer brand brande brennt brennen
		flammen funken explodiert lichtbogen feuerwehr bomberos blew fuego incendio incendios llamas arde ardiendo quemandose quemando chispas exploto
		explotado`,
	perilSmoke: `smoke smoking smokes smoky smokey smok smoek somke smokin smoldering smouldering fumes rauch raucht qualm qualmt verqualmt verraucht humo humea
		humeando`,
	perilBurnt: `burning burnt burned singed scorched brandgeruch schmorgeruch schmort verschmort verbrannt angebrannt quemado quemada chamuscado`,
	perilGas:   `gas co gasgeruch gasleck gasaustritt gasalarm monoxide`,
	perilInjury: `hurt hurts hurting injured injury injuries wounded bleeding unconscious electrocuted electrocution fainted concussed concussion accident ambulance
		evacuated evacuate evacuating emergency fall verletzt verletzte verletzten verletzter verletzung verletzungen unfall arbeitsunfall stromunfall blutet
		blute bluten evakuiert bewusstlos ohnmachtig gesturzt abgesturzt eingeklemmt notarzt krankenwagen rettungswagen stromschlag verbruht notfall herido
		herida heridos heridas lesionado lesionada lesionados accidente accidentado sangra sangrando inconsciente desmayado desmayada electrocutado
		electrocutada electrocucion calambrazo quemadura quemaduras quemado quemada ambulancia evacuado evacuada`,
	perilHarm: `cut cuts crushed trapped caught burnt burned burn scalded broke broken smashed sliced pinched nipped sprained twisted severed lost gashed mangled hit
		injure geschnitten verbrannt gequetscht gebrochen gestossen verstaucht cortado cortada corte corto queme quemo roto rompio aplastado golpeado golpe
		pille`,
	perilFall:  `fell fallen falling slipped gefallen runtergefallen heruntergefallen cayo caido caida`,
	perilShock: `shock shocks shocked zapped jolt schlag descarga calambre`,
	perilDown:  `collapsed trapped dizzy breathing attack down aid zusammengebrochen eingeschlossen atrapado atrapada encerrado encerrada`,
	perilShut:  `stuck locked passed`,
	perilHelp: `breathe mayday auxilio socorro ayudame ayudadme schwindlig schwindelig mareado mareada sos help hilf helft call called dial ring phone ruf ruft rufen wahlt llama
		llamad llamen llame chest breathing schlecht ubel corriente hit broken broke uv trapped atrapado atrapada inside floor ground boden suelo hangt steckt hot`,
	perilStart: `started starts start came comes went kicked switched turned lief anlief angelaufen gestartet eingeschaltet ging arranco arrancado encendio encendido`,
})

func buildPerils(lists map[peril]string) map[string]peril {
	out := map[string]peril{}
	for p, list := range lists {
		for _, w := range strings.Fields(list) {
			out[w] |= p
		}
	}
	return out
}

// Words by which a word for danger is weighed.
var (
	denyWords  = set("no not nobody noone none never without any kein keine keinen keiner nicht niemand ohne sin ningun ninguna nadie nunca cant doesnt didnt wont wouldnt isnt wasnt false")
	smellWords = set("smell smells smelling smelled smelt odour odor stink stinks stench reek reeks whiff riecht geruch stinkt huele olor huelo oliendo")
	leakWords  = set("leak leaks leaking leaked escape escaping alarm ausstromt austritt leck fuga escape")
	drillWords = set("drill drills exercise test tests tested testing training course ubung feuerubung probealarm brandubung probe simulacro simulacros prueba pruebas practice")

	// wildWords are where fires burn that are none of the plant's; openFires say so alone.
	wildWords = set("heath forest woodland woods wood moor moorland bush grass grassland field fields farm hill hills mountain mountains wald feld felder wiese heide monte bosque campo forestal forestales road motorway")
	openFires = set("wildfire wildfires bushfire bushfires waldbrand waldbrande bonfire bonfires stubble barbecue bbq osterfeuer rastrojo rastrojos")
	outside   = set("outside outdoor outdoors nearby neighbour neighbours neighbouring neighbor neighbors neighboring upwind street town city sky draussen aussen aussenluft nebenan nachbar nachbarn fuera afuera exterior calle vecino vecinos ciudad season ambient haze hazy diesel lorry truck traffic")
	lasting   = set("since week days seit woche tagen tage semana dias desde")

	// sources lead to where a fire comes from. componentWords are parts that burn;
	// plantWords all that belongs to the plant.
	sources        = set("from in inside out of off on aus im unter en de del dentro sale von vom")
	componentWords = set(`motor motors belt belts bearing bearings inverter inverters vfd cable cables wiring switchboard switchgear isolator contactor breaker heater riemen lager kabel schaltschrank umrichter heizregister
		correa cuadro variador rodamiento`)
	plantWords = set(`motor motors fan fans belt belts bearing bearings inverter inverters vfd drive drives cable cables wiring heater heaters coil duct ducts ductwork plant plantroom plantrooms riser unit units ahu ahus
		switchboard switchgear isolator contactor breaker filter filters bag bags panel bank humidifier battery compressor chiller boiler pump casing housing
		lufter ventilator riemen lager kabel schaltschrank umrichter heizregister technikraum maschinenraum technikzentrale anlage gerat kanal schacht zentrale luftungszentrale
		ventilador correa cuadro variador conducto equipo filtro filtros unidad maquina sala patinillo rodamiento climatizadora`)
	roomWords  = set("room rooms building corridor kitchen office ward theatre basement loft ceiling void roof stairwell store stores lab lobby shaft floor hall everywhere gebaude keller dach flur buro kuche decke raum uberall techo sotano tejado edificio cocina oficina pasillo almacen")
	thereWords = set("theres there es hay gibt")

	// devices follow a word for fire that is then none: "fire damper", "smoke break".
	devices = set(`alarm alarms drill drills damper dampers detector detectors door doors extinguisher extinguishers stopping barrier panel exit escape officer safety plan risk assessment rating rated curtain hydrant hose
		marshal warden vent vents control extract exhaust pen pencil puffer pellet machine bomb tracer matches zone compartment strategy proof wall resistance test tests testing training exercise break breaks free shelter area certificate regs regulations
		engineer code watch sprinkler sprinklers pump blanket point system systems interlock signal shutdown sale up
		klappe melder ubung schutz puerta compuerta simulacro prueba extintor`)
	soundWords = set("going went goes sounding ringing rings sounds active activated called coming lautet heult suena sonando")
	goneWords  = set("cleared gone over lifted stopped weg vorbei verzogen despejado")
	breakWords = set("for having quick fancy have had another")
	wasteWords = set("money energy power kwh cash through hours more less cost time fuel oil pounds euros dollars budget a #")

	bodyWords = set(`hand hands finger fingers thumb thumbs arm arms leg legs foot feet head eye eyes face wrist knee ankle back skull nose ear neck shoulder toe toes palm sleeve glove hair clothing jacket lanyard coat
		hande daumen bein beine kopf auge augen fuss rucken mano manos dedo dedos brazo pierna cabeza ojo ojos pie cara espalda`)
	digits      = set("finger fingers thumb thumbs dedo dedos")
	whoseWords  = set("my his her their your our someones somebodys mein meine meinen seine seinen seiner ihre ihren die den der das mich sich mir ihm mi su la el las los me se")
	heightWords = set(`ladder ladders stepladder roof stairs stair scaffold scaffolding platform gantry hatch ceiling shaft catwalk mezzanine skylight hoist
		leiter dach treppe gerust luke podest escalera escaleras tejado techo andamio trampilla plataforma`)
	weatherWords = set("rain snow water leaves ice hail pressure air regen schnee wasser lluvia nieve agua")
	personWords  = set("he she they i someone somebody man woman guy lad bloke person colleague mate engineer technician tech fitter electrician apprentice contractor worker er sie jemand kollege mann monteur techniker el ella alguien companero operario tecnico hombre ive hes shes im")
	notSoreWords = set("efficiency performance airflow energy budget cost costs feelings pride book form report line lines bay")
	jokeWords    = set("price prices cost costs bill bills quote absorber absorbers")
	selfWords    = set("me se mich sich mir")
	selfHarms    = set("cortado cortada corte quemado quemada queme golpeado geschnitten verbrannt gestossen verbruht caido caida cayo")
	shockGivers  = set("a an electric electrical static got get gets ein einen elektrischer elektrischen una un electrica in")
)
