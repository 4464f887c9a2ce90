package leak

import (
	"strings"
	"sync"
)

// linking are the words that hold a sentence together and say nothing by
// themselves. Both lists are our own, from memory.
const linking = `a about above after again all almost also although always am an and another any are aren't around as at away back be because been before
behind being below beside between both but by can can't cannot could couldn't did didn't do does doesn't doing don't down during each either else enough even ever
every few first for from get gets getting go goes going got had hadn't has hasn't have haven't having he he'd he'll he's her here hers him his how i i'd i'll i'm i've if in
inside into is isn't it it's its itself just last least less like little made make makes making many may maybe me might mine more most much must my near
nearly need never next no none nor not nothing now of off often on once one only onto or other others our ours out outside over own per perhaps put puts quite
rather really same shall she she's should shouldn't since so some something soon still such than that that's the their theirs them then there there's these they they'll
they're they've this those though three through till to together too took two under until up upon us use used very was wasn't we we'd we'll we're we've well went were
weren't what when where whether which while who whole whom whose why will with within without won't would wouldn't yes yet you you'd you'll you're you've your yours`

// everyday are common words, words of a workshop and common words that are
// surnames too.
const everyday = `able accident account act action actual add adult advice afraid afternoon age ago agree ahead aid aim air aircraft alive alloy alone along aloud already
alter aluminium ancient angle animal ankle answer apart appear apple april arch archer area arm army arrange arrive art ash ashore ask asleep assemble attack attempt august aunt
autumn average awake aware axe axle baby bad bag bake baker balance ball band bank bar bare bark barn barrel base basic basin bath bay beach beam bean bear beard beat beauty bed bee beer
begin bell belong belt bench bend bent best better big bill bird birth bishop bit bite bitter black blade blame blanket blast bleed blind block blood bloom blow blue board boat body
boil bold bolt bond bone book boot border born boss bottle bottom bound bow bowl box boy brace bracket brain branch brass brave bread break breath brick bridge brief bright bring broad
broken brook brooks brother brown brush bubble bucket build built bull burn burst bury bus bush business busy butcher butler butter button buy cabin cable cake call calm came camera camp cane
cap captain car card care careful carpenter carpet carriage carry cart carve case cash castle cast cat catch cause ceiling centre century certain chain chair chalk chance change channel
chapel chapman charge charity chart chase cheap cheat check cheese chest chief child children chin choice choose church circle city clamp clark class clay clean clear clerk clever click cliff
climb clip clock close cloth cloud club coach coal coarse coast coat cobb code coffee coin cold cole collar collect colour column comb come comfort common company complete cone control cook
cool cooper copper copy cord cork corn corner correct corrode cost cotton cough count country couple courage course court cousin cover cow cowl crack craft crane crash crate craven crawl
crazy cream creek crew crime crisp cross crow crowd crown crush cry cup cure curl current curtain curve custom cut cycle daily damage damp dance danger dark date daughter dawn day days dead
deal dean dear death debt decay december decide deck deep deer degree delay deliver dent depth design desk detail develop dew dial die differ difficult dig dinner dip direct dirt dirty
discover dish distance ditch dive divide dock doctor dog door double doubt doubtless dove dozen drag drain drake draw drawer dream dress drill drink drive driver drop drum dry duck due duke dull
dust duty eager eagle ear early earn earth ease east easter easy eat edge effect effort egg eight eighty elbow electric elevator eleven empty end enemy engine engineer enjoy enter equal error
escape evening event evil exact example excuse exercise exist expect expert explain extra eye eyes face fact fail faint fair faith fall false fame family famous fan far farm farmer fast fasten fat
fate father fault favour fear feast feather february feed feel feet fell fellow fence fern ferry fetch fever fibre field fierce fifteen fifth fifty fight figure file fill film finch find fine finger finish fire firm
fish fisher fit fitted fittings five fix flag flame flange flap flash flat flesh fleet fletcher flight float flood floor flour flow flower fly flying fog fold folk follow food fool foot force ford foreign forest
forge forget forgive fork form forty forward foster foul found four fourteen fourth fox frame frames free freeze freight french fresh friday friend front frost fruit fuel full fun fund funny fur furnace
further future gale gallery game gap garage garden gardener gate gather gauge gave gear general gentle german ghost giant gift gill girl give given glad glass glover glue goal goat gold golden good goods goose
grace grain grand grant grass grave gray grease great green grey grind grip ground group grove grow growth guard guess guest guide gum gun guy habit hail hair half hall hammer hand handle hang
hangar happen happy harbour hard hardly hardy harm harper harvest haste hat hatch hate hawk hay head heal health heap hear heard heart heat heath heaven heavy hedge heel height held help hen herb
herring hide high hill hills hinge hip hire history hit hoist hold hole holes holiday hollow holly holy home honest honey hood hook hope horn horse hospital host hot hotel hour hours house hub huge hull human humble
hundred hung hunt hunter hurry hurt ice idea ill inch inches ink insect inspect instead iron island issue ivory ivy jack jacket jam january jar jaw jay jetty jewel job join joiner joint joke jolly journey joy
judge juice july jump june jury keel keen keep kept kettle key kick kill kind king kiss kit kitchen knee kneel knew knife knight knit knob knock knot know known labour lace lack ladder lady lake lamb
lamp land lane language large lark late later latter laugh laundry law lawn lawyer lay layer lazy lead leaf leak lean leap learn leather leave lecture left leg legal lemon lend length lesson
let letter level lid lie life lift light lily limb lime limit line linen lion lip liquid list listen live load loaf loan local lock locker log lonely long look loose lord lose loss lost lot loud love low lower
loyal luck lucky lump lunch lung machine mad magic maid mail main major man manner map marble march mark market marsh marshal marshall mason mass mast master match mate material matter may meadow meal mean means measure
meat medicine meet melt member men mend mercer mercy mess metal metals middle might mild mile miles milk mill miller mind mine minute minutes mirror miss mist mistake mix modern moment monday money monk month months moon moor
moral morning moss moth mother motion motor mould mount mouse mouth move mud murder muscle music nail name names narrow nation nature navy neat neck needle neighbour nephew nest net new news nice niece night
nine ninety noble noise noon north nose note notice november number nurse nut nylon oak oar oats obey object ocean october odd offer office officer oil old older onion open opinion orange orchard order ordinary
organ original outer oven owe owl owner oxen oyster pack packet page pages pain paint painter pair palace pale palm pan panel paper parcel pardon parent parish park parker parks parrot parson part parts party pass past paste
patch path patience pause pay peace pear pearl pen pence pencil penny people pepper perfect period person pet photo piano pick picture piece pieces pig pigeon pike pile pilgrim pill pilot pin pine pink pint pipe pit pitch
pits pitted pity place plain plan plane plant plaster plastic plate plates play please plenty plough plug plumb plumber pocket poem point poison pole police polish polite pond pool poor pope port porter position possible post pot potato
potter pound pour powder power praise pray preach present press pretty prevent price pride priest prince print prior prison private prize probable problem produce profit promise proof proper propeller protect proud prove public
pull pulley pump pupil pure purple purpose push quality quarter quay quayside queen question quick quiet quilt race rack radio rag rail railway rain raise rake ramp ran range rank rare rate raw ray reach read reader ready real rear reason
receive recent record red reed regular relief remain remember remind remove rent repair repeat reply report rescue rest result return reward rib ribbon rice rich ride right ring ripe rise risk river rivers rivet riveter rivets road roar roast
rob robin rock rod roll roof room root rope rose rot rotted rotten rough round row royal rub rubber rudder rude ruin rule ruler run rush rust sad saddle safe sail sailor sale salmon salt salts sand sang saturday sauce savage save saw
sawyer say scale scarce scene school science scissors score scout scrape scratch screen screw sea seal search seat second secret section see seed seem seen seize self sell send sense separate september serious serve service set settle
seven seventy severe sew sewn shade shadow shaft shake shallow shame shape share sharp sharpe shave shed sheep sheet sheets shelf shell shelter shepherd shift shine ship shirt shock shoe shoot shop shopping shore short shot shoulder shout show shower
shrink shut sick side sides sight sign signal silence silk silver simple sincere sing single sink sister sit six sixteen sixty size sketch skill skin skins skirt sky slack slate slave sleep slide slight slip slipway slope slow small smart smell smile smith
smoke smooth snail snake snow soap social sock soft soil soldier solemn solid solve son song sore sorrow sort soul sound soup sour south space spade spar spare spark sparrow speak special speech speed spell spend spent spill spin spirit spite spoil
spoke sponge spoon sport spot spray spread spring squad square stable staff stage stain stair stairs stalk stamp stand standard star start state station stay steady steal steam steel steep steer stem step stern stick stiff stiffener sting stir stock
stocking stole stomach stone stood stool stop stopped store storey storm story stout straight strake strange strap straw stream street strength stretch strike string strip stroke strong structure struggle student study stuff stupid subject substance succeed sudden suffer
sugar suggest suit suitable sum summer summers sun sunday supper supply support suppose sure surface surprise swallow swan swear sweat sweep sweet swell swift swim swing switch sword sympathy system table tail take taken tale talk tall tame tank tap tape
target task taste taught tax taylor tea teach team tear teeth tell temper temple ten tend tender tent term terrible test tested thank thick thicker thickness thief thin thing things think thinner third thirteen thirty thorn thorough thousand thread threat throat throw thumb thunder thursday thus ticket
tide tidy tie tight tile time times tin tiny tip tire tired title tobacco today toe told tomorrow ton tongue tonight tool tools tooth top total touch tour toward towards tower town toy track trade train trap travel tray treasure treat tree trial trick
trip trouble trousers truck true trunk trust truth try tub tube tuesday tune turn turner twelve twenty twice twin twist type tyre ugly umbrella uncle understand union unit upper upset upstairs urge usual valley value valve van variety varnish veil verse vessel
vest view village violent virtue visit visitor visitors voice volunteer volunteers vote vowel voyage wage waggon waist wait wake wales walk walker wall walls wander want war ward warm warn wash washer waste watch water waters wave wax way ways weak wealth wear weather weave web
wednesday weed week weekend weeks weigh weight welcome weld welder wells west wet wheel wheeler whip whisper whistle white wick wicked wide widow width wife wild win wind window wine wing wings winner winter wipe wire wisdom wise wish wolf woman women wonder wood
woodland wooden woods wool word words work worker works workshop world worm worn worry worse worst worth wound wrap wreck wren wrist write wrong wrote yard yards year years yellow yesterday yew young zero zinc
hallow archive reception website internet nightingale partridge peacock starling raven rook kite gull heron tern bass roach whiting hoop dye thatch spice chandler tan blossom berry vine violet daisy iris primrose olive basil sage thyme curry mustard
pickle bacon ham beech birch cedar willow rowan hazel holm slater tiler barrow wheelwright shipwright boatman waterman seaman gunner marine pier wharf lighthouse beacon anchor flint pebble cliffs dale fell glen heather meadows orchid pasture ploughman rye barley
sheriff squire steward abbot monk nun friar vicar deacon canon saint angel demon giles merry gay happy sadly noon dusk spare may june augustus bliss comfort constant darling dearing diamond ruby emerald amber pearl sapphire opal garnet topaz carat
hook hooker trotter rider racer runner jumper dancer singer player fiddler piper drummer bugler horner harp lute reeder scribe clerke mercer draper tailor weaver spinner fuller tucker walker webber shearer shepherd hind hart stag roe doe buck badger otter beaver hare
stanley knife forth thames tweed severn trent avon dart wear tees humber mersey clyde kent essex london york lincoln derby stafford buxton bath wells exeter chester lancaster winchester durham england english ireland irish scot scott scotland welsh max farthing leeward windward western eastern northern southern
bellow bellows thatcher glazier saddler cutler currier collier tinker cordwainer cobbler farrier forester fowler gaoler hatter hosier limner ostler packer plasterer pargeter quarrier reaper reeve sadler salter
sexton skinner slinger spicer steeplejack stoker tanner thresher tiller tinsmith tranter usher verger vintner wainwright warden warrener whittler sorrel bramble thistle nettle clover bracken furze gorse broom
alder aspen elder elm maple poplar sycamore hawthorn blackthorn larch sedge lichen ling lavender rosemary tansy yarrow teasel fennel parsley gannet lapwing kestrel plover curlew dunlin teal widgeon mallard
pochard fulmar kittiwake cormorant shag petrel puffin skua godwit sandpiper redshank osprey buzzard falcon merlin harrier goshawk linnet siskin wagtail wheatear whinchat stonechat dipper jackdaw magpie cuckoo
pheasant grouse quail coot moorhen thrush blackbird bunting oystercatcher cygnet gosling eider mole vole shrew ferret stoat weasel hedgehog squirrel rabbit vixen lynx bullock heifer ram ewe lambkin colt filly
mare pony trout perch bream carp tench grayling mullet sole turbot brill haddock hake whelk cockle mussel limpet winkle crab lobster prawn shrimp sprat mackerel estuary fenland moorland marshland
heathland shingle dune saltmarsh weir lakeside seaside riverside hillside beck firth loch tarn mere lagoon cove inlet islet skerry shoal reef spit strand foreshore haven headland cape ridge crag tor
knoll dell dingle glade copse thicket spinney fen bog mire lough dyke causeway canal bollard capstan anchorage boom gaff sprit jib transom thwart gunwale helm paddle rowlock fender hawser halyard lanyard cleat
shackle bosun coxswain purser skipper timber plating castings bearings fasteners foundry smithy rigging sailcloth canvas calico hessian upholstery webbing tarpaulin ledger invoice warehouse granary brewery
bakery tannery pottery nursery kiln frank drew nick bob sue gene chuck sandy rusty ginger misty jimmy jenny josh harry dandy lance piers skip wade pip tab tad rocky sonny fiddle flute oboe viola cello trumpet
cymbal harmony melody chord tenor alto treble minstrel ballad carol anthem psalm hymn choir amble ramble saunter stroll trudge gallop canter trot hurdle tackle bowler batter wicket goalie alarm aboard afloat
adrift astern abeam aground aloft alight alike arise arose abide abode abound across afar afield afoot afresh ajar akin amend amid amiss apiece aside astray awry swamp spool spine stall stile swarm swirl`

// stockPhrases are runs of words that everybody writes. They say nothing about
// where a text was copied from.
var stockPhrases = [...]string{
	"at the end of the day", "at the beginning of the", "at the back of the", "at the front of the", "at the bottom of the", "at the top of the", "at the side of the",
	"from the top of the", "from the bottom of the", "from the front to the back", "from the inside of the", "from the outside of the", "on the inside of the", "on the outside of the",
	"on the other side of the", "on either side of the", "on both sides of the", "on the far side of the", "in the middle of the", "in the course of the", "in the end it was", "in the first place", "in the same way as",
	"for the first time in", "for the first time since", "for the rest of the", "for a long time", "for many years", "as a matter of fact", "as far as we know", "as far as we can tell", "as soon as possible", "as well as the",
	"by the end of the", "by the time we", "a great deal of", "a large number of", "a lot of the", "one of the most", "one of the first", "one of the few", "some of the", "most of the", "the rest of the", "the size of a",
	"it turned out to be", "it turned out that the", "it is one of the", "it was one of the", "there was nothing left of the", "we do not know", "we would like to thank", "would like to thank",
	"thank you very much for", "if you would like to", "come and see it for yourself", "in other words", "at the same time", "all the way to the", "all the way round the", "all over the", "once upon a time",
	"the port side of the hull", "the starboard side of the hull", "the top of the hull", "the bottom of the hull", "the inside of the hull", "between the wars", "during the second world war", "at the end of the war",
	"to the best of our knowledge", "last but not least", "more or less", "up and down", "over and over again", "little by little", "side by side", "from time to time", "every now and then", "with a bit of luck", "so far so good",
}

// commonness of a word.
type commonness int8

const (
	rare commonness = iota
	familiar
	link
)

var wordList = sync.OnceValue(func() map[string]commonness {
	all := map[string]commonness{}
	for _, w := range strings.Fields(everyday) {
		all[w] = familiar
	}
	for _, w := range strings.Fields(linking) {
		all[strings.ReplaceAll(w, "'", "")] = link
	}
	return all
})

// howCommon looks a word up, in lower case and without apostrophes; the usual
// endings make no difference.
func howCommon(word string) commonness {
	words := wordList()
	if c := words[word]; c != rare {
		return c
	}
	for _, ending := range [...]string{"s", "es", "d", "ed", "r", "er", "ers", "ly", "y", "ing", "st", "est", "ness", "th"} {
		stem, ok := strings.CutSuffix(word, ending)
		if !ok || len(stem) < 3 {
			continue
		}
		doubled := len(stem) > 3 && stem[len(stem)-1] == stem[len(stem)-2]
		if words[stem] != rare || ending == "ing" && words[stem+"e"] != rare || doubled && words[stem[:len(stem)-1]] != rare {
			return familiar
		}
		if ending == "es" || ending == "ed" || ending == "er" {
			if words[strings.TrimSuffix(stem, "i")+"y"] != rare {
				return familiar
			}
		}
	}
	return rare
}

// isEveryday reports whether a word is common enough to stand in any text.
func isEveryday(word string) bool { return howCommon(word) != rare }
