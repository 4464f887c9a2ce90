package leak

import (
	"cmp"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// dimension is what a quantity is of. Lengths are read by package measure.
type dimension string

const (
	ofMass        dimension = "mass"
	ofForce       dimension = "force"
	ofPressure    dimension = "pressure"
	ofTorque      dimension = "torque"
	ofTemperature dimension = "temperature"
	ofVolume      dimension = "volume"
	ofSpeed       dimension = "speed"
	ofTurning     dimension = "turning"
	ofVoltage     dimension = "voltage"
	ofCurrent     dimension = "current"
	ofResistance  dimension = "resistance"
	ofPower       dimension = "power"
	ofArea        dimension = "area"
	ofTime        dimension = "time"
	ofAngle       dimension = "angle"
)

// unit is one way to write a quantity: amount × size + zero is its value in the
// unit of the SI (of temperature, in degrees Celsius). Sizes are those of NIST
// Special Publication 811 (2008), Appendix B.8, in full where they are exact
// there, and made of the exact ones otherwise (a pound-force is the pound times
// 9.80665 m/s²). The imperial pint and quart as parts of the imperial gallon,
// the ohm, the revolution per minute and the words of other tongues are from
// memory.
type unit struct {
	of         dimension
	size, zero float64
}

const (
	pound      = 0.45359237 // kg, exact
	gravity    = 9.80665    // m/s², exact
	poundForce = pound * gravity
	inchLong   = 0.0254 // m, exact
	footLong   = 0.3048 // m, exact
	gallon     = 0.00454609
	gallonUS   = 0.003785411784 // 231 cubic inches
)

// unitNames are the units with the ways to write each. A space may be written
// as a space, a dot, a hyphen or nothing. What is a single letter or ends in one
// keeps its case; the others may be in any.
var unitNames = []struct {
	unit
	names string // with commas between
}{
	{unit{ofMass, 1, 0}, "kg,kgs,kilo,kilos,kilogram,kilograms,kilogramme,kilogrammes,kilogramm"},
	{unit{ofMass, 0.001, 0}, "g,gm,gms,gr,grm,gram,grams,gramme,grammes,gramm"},
	{unit{ofMass, 0.000001, 0}, "mg,milligram,milligrams,milligramme,milligrammes"},
	{unit{ofMass, pound, 0}, "lb,lbs,lbm,pound,pounds,pound weight,pounds weight"},
	{unit{ofMass, pound / 16, 0}, "oz,ozs,ounce,ounces"},
	{unit{ofMass, 14 * pound, 0}, "st,stone,stones"},
	{unit{ofMass, 112 * pound, 0}, "cwt,hundredweight,hundredweights"},
	{unit{ofMass, 2240 * pound, 0}, "ton,tons,long ton,long tons,imperial ton,imperial tons"},
	{unit{ofMass, 2000 * pound, 0}, "short ton,short tons,us ton,us tons"},
	{unit{ofMass, 1000, 0}, "t,te,tonne,tonnes,metric ton,metric tons,metric tonne,metric tonnes,ton,tons,tonnen"},

	{unit{ofForce, 1, 0}, "N,newton,newtons"},
	{unit{ofForce, 10, 0}, "daN,decanewton,decanewtons"},
	{unit{ofForce, 1000, 0}, "kN,kilonewton,kilonewtons"},
	{unit{ofForce, poundForce, 0}, "lbf,pound force,pounds force,pounds of force,lb force,lbs force,pounds pull,lb,lbs,pound,pounds"},
	{unit{ofForce, gravity, 0}, "kgf,kp,kilopond,kiloponds,kilogram force,kilograms force,kg force,kg,kilo,kilos,kilogram,kilograms"},
	{unit{ofForce, 1000 * gravity, 0}, "tonne force,tonnes force,tf,tonne,tonnes"},
	{unit{ofForce, 2240 * poundForce, 0}, "tonf,ton force,tons force,ton,tons"},

	{unit{ofPressure, 1, 0}, "Pa,pascal,pascals"},
	{unit{ofPressure, 100, 0}, "hPa,mbar,mbars,millibar,millibars,hectopascal,hectopascals"},
	{unit{ofPressure, 1000, 0}, "kPa,kilopascal,kilopascals"},
	{unit{ofPressure, 1e6, 0}, "MPa,megapascal,megapascals,N/mm2,newtons per square millimetre"},
	{unit{ofPressure, 1e9, 0}, "GPa,gigapascal,gigapascals"},
	{unit{ofPressure, 1e5, 0}, "bar,bars,barg"},
	{unit{ofPressure, 101325, 0}, "atm,atmosphere,atmospheres"},
	{unit{ofPressure, poundForce / (inchLong * inchLong), 0}, "psi,psig,psia,p s i,lb/in2,lb/sq in,lbs/in2,lbs/sq in,lbf/in2,lb per sq in,lbs per sq in,lb per square inch,lbs per square inch,pound per square inch,pounds per square inch,pounds to the square inch,pounds a square inch,pounds per sq inch"},
	{unit{ofPressure, 1000 * poundForce / (inchLong * inchLong), 0}, "ksi"},
	{unit{ofPressure, gravity * 1e4, 0}, "kgf/cm2,kg/cm2,kp/cm2,kilos per square centimetre,kilograms per square centimetre"},
	{unit{ofPressure, 3386.389, 0}, "inHg,in hg,inches of mercury,inch of mercury"},
	{unit{ofPressure, 133.3224, 0}, "mmHg,mm hg,millimetres of mercury,torr"},

	{unit{ofTorque, 1, 0}, "Nm,N m,N·m,N*m,newton metre,newton metres,newton meter,newton meters,newtonmetre,newtonmetres,newtonmeter"},
	{unit{ofTorque, 1000, 0}, "kNm,kN m,kilonewton metre,kilonewton metres"},
	{unit{ofTorque, 0.01, 0}, "Ncm,N cm,newton centimetre,newton centimetres"},
	{unit{ofTorque, poundForce * footLong, 0}, "lbf ft,lb ft,lbs ft,ft lb,ft lbs,ft lbf,lbf·ft,ft·lbf,lb·ft,ft·lb,foot pound,foot pounds,pound foot,pounds foot,pound feet,pounds feet,foot lb,foot lbs,pound force feet,pounds force feet,pound force foot"},
	{unit{ofTorque, poundForce * inchLong, 0}, "lbf in,lb in,lbs in,in lb,in lbs,in lbf,lbf·in,in·lbf,inch pound,inch pounds,pound inch,pounds inch,pound inches,inch lb,inch lbs,pound force inches,pounds force inches"},
	{unit{ofTorque, gravity, 0}, "kgf m,kg m,kgm,kilogram metre,kilogram metres,kilo metre"},
	{unit{ofTorque, gravity / 100, 0}, "kgf cm,kg cm,kilogram centimetres"},

	{unit{ofTemperature, 1, 0}, "C,°C,° C,oC,deg C,degs C,degree C,degrees C,degree celsius,degrees celsius,degrees centigrade,degree centigrade,deg celsius,celsius,centigrade,° celsius,degrees,degree,deg,°,grad"},
	{unit{ofTemperature, 1 / 1.8, -32 / 1.8}, "F,°F,° F,oF,deg F,degs F,degree F,degrees F,degree fahrenheit,degrees fahrenheit,deg fahrenheit,fahrenheit,° fahrenheit,degrees,degree,deg,°"},
	{unit{ofTemperature, 1, -273.15}, "K,kelvin,kelvins"},

	{unit{ofVolume, 0.001, 0}, "l,L,ltr,ltrs,litre,litres,liter,liters,dm3,cubic decimetre,cubic decimetres"},
	{unit{ofVolume, 1e-6, 0}, "ml,mls,cc,ccs,cm3,millilitre,millilitres,milliliter,milliliters,cubic centimetre,cubic centimetres,cubic centimeter,cubic centimeters,cu cm"},
	{unit{ofVolume, 1e-5, 0}, "cl,centilitre,centilitres"},
	{unit{ofVolume, 1, 0}, "m3,cubic metre,cubic metres,cubic meter,cubic meters,cu m"},
	{unit{ofVolume, gallon, 0}, "gal,gals,gallon,gallons,imperial gallon,imperial gallons,imp gal,imp gallon,imp gallons,uk gallon,uk gallons,imp gals"},
	{unit{ofVolume, gallon / 4, 0}, "qt,qts,quart,quarts"},
	{unit{ofVolume, gallon / 8, 0}, "pt,pts,pint,pints,imperial pint,imperial pints"},
	{unit{ofVolume, gallon / 160, 0}, "fl oz,fluid ounce,fluid ounces,floz"},
	{unit{ofVolume, gallonUS, 0}, "us gal,us gallon,us gallons,american gallon,american gallons"},
	{unit{ofVolume, gallonUS / 4, 0}, "us quart,us quarts,us qt"},
	{unit{ofVolume, gallonUS / 8, 0}, "us pint,us pints,american pint,american pints"},
	{unit{ofVolume, footLong * footLong * footLong, 0}, "ft3,cu ft,cubic foot,cubic feet"},
	{unit{ofVolume, inchLong * inchLong * inchLong, 0}, "in3,cu in,cubic inch,cubic inches"},

	{unit{ofSpeed, 1, 0}, "m/s,metres per second,metres a second,meters per second"},
	{unit{ofSpeed, 1 / 3.6, 0}, "km/h,kmh,kph,kmph,km per hour,kilometres per hour,kilometres an hour,kilometers per hour,kilometers an hour,km an hour"},
	{unit{ofSpeed, 0.44704, 0}, "mph,m p h,miles per hour,miles an hour,mile an hour,miles/hour,mi/h"},
	{unit{ofSpeed, 1852.0 / 3600, 0}, "kn,kt,kts,knot,knots"},
	{unit{ofSpeed, footLong, 0}, "ft/s,feet per second,feet a second"},
	{unit{ofSpeed, footLong / 60, 0}, "ft/min,fpm,feet per minute,feet a minute"},
	{unit{ofTurning, 1, 0}, "rpm,r p m,rev/min,revs,revs per minute,revs a minute,revolutions per minute,revolutions a minute,turns a minute,turns per minute,U/min"},

	{unit{ofVoltage, 1, 0}, "V,volt,volts,Vdc,VDC,V dc,Vac,VAC,volts dc,volts ac"},
	{unit{ofVoltage, 1000, 0}, "kV,kilovolt,kilovolts"},
	{unit{ofVoltage, 0.001, 0}, "mV,millivolt,millivolts"},
	{unit{ofCurrent, 1, 0}, "A,amp,amps,ampere,amperes"},
	{unit{ofCurrent, 0.001, 0}, "mA,milliamp,milliamps,milliampere,milliamperes"},
	{unit{ofResistance, 1, 0}, "Ω,ohm,ohms"},
	{unit{ofResistance, 1000, 0}, "kΩ,kohm,kilohm,kilohms,kiloohm"},
	{unit{ofResistance, 1e6, 0}, "MΩ,Mohm,megohm,megohms"},
	{unit{ofPower, 1, 0}, "W,watt,watts"},
	{unit{ofPower, 1000, 0}, "kW,kilowatt,kilowatts"},
	{unit{ofPower, 550 * footLong * poundForce, 0}, "hp,bhp,shp,h p,b h p,horsepower,brake horsepower,horse power,horse"},
	{unit{ofPower, 735.4988, 0}, "PS,ps,ch,cv,metric horsepower"},

	{unit{ofArea, 1, 0}, "m2,sq m,sqm,square metre,square metres,square meter,square meters"},
	{unit{ofArea, 1e-4, 0}, "cm2,sq cm,square centimetre,square centimetres"},
	{unit{ofArea, 1e-6, 0}, "mm2,sq mm,square millimetre,square millimetres"},
	{unit{ofArea, footLong * footLong, 0}, "ft2,sq ft,sq feet,square foot,square feet"},
	{unit{ofArea, inchLong * inchLong, 0}, "in2,sq in,sq ins,square inch,square inches"},
	{unit{ofArea, 9 * footLong * footLong, 0}, "yd2,sq yd,sq yds,square yard,square yards"},

	{unit{ofTime, 3600, 0}, "h,hr,hrs,hour,hours,man hours,man hour,Stunden,heures,awr"},
	{unit{ofTime, 60, 0}, "min,mins,minute,minutes,Minuten"},
	{unit{ofTime, 1, 0}, "s,sec,secs,second,seconds"},
	{unit{ofTime, 86400, 0}, "day,days"},
	{unit{ofTime, 604800, 0}, "week,weeks"},
	{unit{ofAngle, 1, 0}, "°,deg,degs,degree,degrees"},
}

var hyphenedLetter = regexp.MustCompile(`[0-9]-[A-Za-z]$`)

// unitTable is unitNames by what is written, and the pattern of a number with
// any of them.
type unitTable struct {
	byName        map[string][]unit
	words         map[string]bool // the pieces of all names
	after, before *regexp.Regexp
}

// number is figures with the usual marks.
const number = `[0-9]{1,3}(?:[ ,.'][0-9]{3})+(?:[.,][0-9]+)?|[0-9]+(?:[.,·][0-9]+)?`

var units = sync.OnceValue(func() unitTable {
	t := unitTable{byName: map[string][]unit{}, words: map[string]bool{}}
	var anyCase, ownCase []string
	for _, u := range unitNames {
		for _, name := range strings.Split(u.names, ",") {
			written := strings.ReplaceAll(regexp.QuoteMeta(name), " ", `[\s.·-]{0,2}`)
			for _, p := range pieces(name) {
				t.words[p.text] = true
			}
			key := unitKey(name)
			if !slices.Contains(t.byName[key], u.unit) {
				t.byName[key] = append(t.byName[key], u.unit)
			}
			if keepsCase(name) {
				ownCase = append(ownCase, written)
			} else {
				anyCase = append(anyCase, written)
			}
		}
	}
	longestFirst := func(a, b string) int { return cmp.Or(cmp.Compare(len(b), len(a)), strings.Compare(a, b)) }
	slices.SortFunc(anyCase, longestFirst)
	slices.SortFunc(ownCase, longestFirst)
	names := `((?i:` + strings.Join(slices.Compact(anyCase), "|") + `)|` + strings.Join(slices.Compact(ownCase), "|") + `)`
	end := `(?:$|[^\pL\pN/']|/[^\pL]|'$|'[^\pL])`
	t.after = regexp.MustCompile(`(^|[^\pL\pN.,£€$])(-\s?|minus |plus |\+)?(` + number + `)(?:\s?(?:-|to|or|and|bis|à)\s?(-|minus )?(` + number + `))?[\s-]{0,2}(?:(?:of an? |of )?)` + names + end)
	t.before = regexp.MustCompile(`(?:^|[^\pL\pN])` + names + `\s?[)\]]?\s{0,2}[:=|]\s{0,2}(` + number + `)(?:$|[^\pL\pN])`)
	return t
})

// keepsCase: "C" is a unit, and "c" is not; "kN" is no "KN".
func keepsCase(name string) bool {
	letters := 0
	for _, r := range name {
		if r != '°' && r != ' ' {
			letters++
		}
	}
	return letters == 1 && name != "°"
}

var unitMarks = strings.NewReplacer(" ", "", ".", "", "-", "", "·", "", "*", "", "\n", "", "\t", "", "\r", "")

// unitKey is what all the ways to space the name of a unit have in common.
func unitKey(name string) string {
	if name = unitMarks.Replace(name); keepsCase(name) {
		return name
	}
	return strings.ToLower(name)
}

// quantity is an amount in a text or in a private value, as each unit that may be
// meant. Without units, only its figures and dimension are known.
type quantity struct {
	at        span    // in the text
	near      span    // in the text as it was written out again
	amount    float64 // as written
	tolerance float64 // half a unit of the last digit
	step      float64 // the same, whatever is taken for exact
	units     []unit
}

// quantitiesIn finds the quantities of a text that are not lengths.
func quantitiesIn(p plain) []quantity {
	var all []quantity
	if !namesAmounts(p) {
		return nil
	}
	for _, q := range amountsInFigures(p) {
		all = append(all, quantitiesAt(q)...)
	}
	return all
}

// namesAmounts reports whether a text may name a unit: most private values do not.
func namesAmounts(p plain) bool {
	if strings.ContainsAny(p.text, "°Ω") {
		return true
	}
	words := units().words
	for i, piece := range p.pieces {
		if !piece.digits && words[piece.text] && (len(piece.text) > 1 || i > 0 && (p.pieces[i-1].digits || saidNumbers()[p.pieces[i-1].text] > 0)) {
			return true
		}
	}
	return false
}

// amountsInFigures are a text and the same with its number words as figures.
func amountsInFigures(p plain) []plain {
	all := []plain{p.itself()}
	if whole, _ := rowsInFigures(p); whole != nil {
		all = append(all, p.itself().with(whole))
	}
	for i, q := range all {
		if r := restated(q, amountRestatements); r != nil {
			all[i] = *r
		}
	}
	return all
}

var amountRestatements = []restatement{
	{regexp.MustCompile("(^|[^\\pL\\pN])[*_`~]{1,3}([\\pL\\pN])"), "$1$2"},
	{regexp.MustCompile("([\\pL\\pN])[*_`~]{1,3}([^\\pL\\pN]|$)"), "$1$2"},
	{regexp.MustCompile(`([0-9])[\s-]?(?:¼|1/4|and a quarter|and 1 quarter)`), "$1.25"},
	{regexp.MustCompile(`([0-9])[\s-]?(?:½|1/2|and a half|and 1 half)`), "$1.5"},
	{regexp.MustCompile(`([0-9])[\s-]?(?:¾|3/4|and three[ -]quarters|and 3[ -]quarters)`), "$1.75"},
	{regexp.MustCompile(`(?i)\b([0-9]+) ([a-z]+) and a half\b`), "$1.5 $2"},
	{regexp.MustCompile(`(?i)\b([0-9]+) ([a-z]+) and a quarter\b`), "$1.25 $2"},
	{regexp.MustCompile(`(?i)(?:½|\bhalf)(?: of)?(?: an?)? `), "0.5 "},
	{regexp.MustCompile(`(?i)(?:¾|\b(?:three|3)[ -]quarters)(?: of)?(?: an?)? `), "0.75 "},
	{regexp.MustCompile(`(?i)(?:¼|\b(?:a |1 )?quarter)(?: of)?(?: an?)? `), "0.25 "},
	{regexp.MustCompile(`(?i)\ban? (kilo|kilogram|kilogramme|pound|ounce|ton|tonne|litre|pint|gallon|hundredweight|stone|bar)\b`), "1 $1"},
	{regexp.MustCompile(`\b([0-9]{1,3})\s?(h|hrs?|hours?)\s?([0-5][0-9])(\s(?:of|in|and|at|on|to|the|for|by)\b|[.,;)]|$)`), "$1 $2 $3 min$4"},
	{regexp.MustCompile(`(^|[\pL:|*.,;(\n]\s?)(kg|Kg|KG|lbs?|psi|PSI|Nm|NM|kPa)\s([0-9])`), "$1$2: $3"},
	{regexp.MustCompile(`\b[lI|]([0-9.,]*[0-9]\s?(?:kg|lb|psi|bar|Nm|kPa|ml)\b)`), "1$1"},
	{regexp.MustCompile(`([0-9])[oO]([0-9.,]*\s?(?:kg|lb|psi|bar|Nm|kPa|ml)\b)`), "${1}0$2"},
}

func quantitiesAt(q plain) []quantity {
	var all []quantity
	t := units()
	for from := 0; from < len(q.text); {
		m := t.after.FindStringSubmatchIndex(q.text[from:])
		if m == nil {
			break
		}
		for i := range m {
			if m[i] >= 0 {
				m[i] += from
			}
		}
		us, ahead := t.byName[unitKey(group(q.text, m, 6))], m[13]
		start, end := q.source(m[6], m[13])
		if isTurn(q, m[13], group(q.text, m, 6)) {
			us = slices.DeleteFunc(slices.Clone(us), func(u unit) bool { return u.of == ofTemperature })
		}
		signs, figures := [...]string{group(q.text, m, 2), group(q.text, m, 4)}, [...]string{group(q.text, m, 3), group(q.text, m, 5)}
		for i, figure := range figures {
			for _, a := range amountsOf(figure) {
				if strings.ContainsAny(signs[i], "-m") {
					a.amount = -a.amount
				}
				a.at, a.near, a.units = span{from: start, to: end}, span{from: m[6], to: m[13]}, us
				all = append(all, a)
			}
		}
		from = ahead
	}
	for _, m := range t.before.FindAllStringSubmatchIndex(q.text, -1) {
		start, end := q.source(m[2], m[5])
		for _, a := range amountsOf(group(q.text, m, 2)) {
			a.at, a.near, a.units = span{from: start, to: end}, span{from: m[2], to: m[5]}, t.byName[unitKey(group(q.text, m, 1))]
			all = append(all, a)
		}
	}
	return together(q, all)
}

// isTurn: degrees that are an angle or a place on the map.
func isTurn(q plain, end int, name string) bool {
	if strings.ContainsAny(strings.TrimPrefix(strings.ToLower(name), "degree"), "cf") {
		return false
	}
	around := q.text[max(0, end-64):min(len(q.text), end+24)]
	return turned.MatchString(around)
}

var turned = regexp.MustCompile(`(?i)\b(?:turn(?:s|ed|ing)?|rotat(?:e|es|ed|ion)|angles?|tilt(?:s|ed)?|swings?|swung|bend|bent|heading|bearing|latitude|longitude|sweep|spins?|north|south|east|west|slope|camera|view|pivots?)\b|degrees (?:to|from|off|apart|round|out)\b`)

// amountsOf are the numbers that figures may stand for: "3,400" and "3.400" are
// either.
func amountsOf(figures string) []quantity {
	if figures == "" {
		return nil
	}
	var all []quantity
	add := func(s string) {
		n, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return
		}
		whole, part, _ := strings.Cut(s, ".")
		q := quantity{amount: n, tolerance: math.Pow10(-len(part)) / 2}
		q.step = q.tolerance
		if noughts := len(whole) - len(strings.TrimRight(whole, "0")); part == "" && noughts >= 2 && len(whole)-noughts >= 2 {
			q.tolerance = math.Pow10(noughts) / 2 // "3,400 kg" may be 3,412
		}
		if n < 40*q.tolerance {
			q.tolerance /= 10 // "2 bar" is taken for 2.0
		}
		all = append(all, q)
	}
	s := strings.NewReplacer(" ", "", "'", "", "·", ".").Replace(figures)
	first, last := strings.IndexAny(s, ",."), strings.LastIndexAny(s, ",.")
	switch {
	case first < 0:
		add(s)
	case first != last && s[first] != s[last]: // "1,240.5", "1.240,5"
		add(strings.NewReplacer(",", "", ".", "").Replace(s[:last]) + "." + s[last+1:])
	case first != last:
		add(strings.NewReplacer(",", "", ".", "").Replace(s))
	default:
		add(s[:last] + "." + s[last+1:])
		if len(s)-last-1 == 3 && s[0] != '0' {
			add(s[:last] + s[last+1:])
		}
	}
	return all
}

// together joins what is said in two units: "8 st 7 lb", "2 hours 15 minutes".
func together(q plain, all []quantity) []quantity {
	var out []quantity
	for i, a := range all {
		if i > 0 && len(out) > 0 && len(a.units) > 0 {
			if sum, ok := out[len(out)-1].and(a, q); ok {
				out[len(out)-1] = sum
				continue
			}
		}
		out = append(out, a)
	}
	return out
}

func (a quantity) and(b quantity, q plain) (quantity, bool) {
	const widest = 6 // bytes
	if a.near.to > b.near.from || b.near.from-a.near.to > widest {
		return a, false
	}
	if between := strings.TrimSpace(q.text[a.near.to:b.near.from]); between != "" && between != "and" && between != "," {
		return a, false
	}
	for _, u := range a.units {
		for _, v := range b.units {
			if u.of == v.of && u.of != ofTemperature && v.size < u.size && b.amount*v.size < u.size {
				return quantity{at: span{from: a.at.from, to: b.at.to}, near: span{from: a.near.from, to: b.near.to}, amount: a.amount*u.size/v.size + b.amount, tolerance: b.step, step: b.step, units: []unit{v}}, true
			}
		}
	}
	return a, false
}

// privateQuantity is a private amount. If its unit is not known, the figure
// counts in any unit of its dimension.
type privateQuantity struct {
	of          dimension
	value       float64 // in the unit of the SI
	bare        bool    // value is the figure as written
	kind, where string
}

// quantitiesOf are the quantities of a private value; where it has none, its
// figures in the unit of its kind.
func (v *privateValue) quantities() []quantity {
	if !v.weighed {
		v.weighed = true
		if v.plain.digits || v.plain.spoken != nil {
			v.amounts = quantitiesIn(v.plain)
		}
	}
	return v.amounts
}

// isQuantity reports whether a value is nothing but quantities.
func (v *privateValue) isQuantity() bool {
	if hyphenedLetter.MatchString(v.plain.text) { // 728-5295-K is a number for a part
		return false
	}
	var at []span
	for _, q := range v.quantities() {
		at = append(at, q.at)
	}
	return at != nil && isAside(without(v.plain.text, at))
}

func (b *builder) addQuantities(v *privateValue) {
	seen := map[privateQuantity]bool{}
	add := func(q privateQuantity) {
		if q.kind, q.where = v.Kind, v.Where; !seen[q] {
			seen[q] = true
			b.quantities = append(b.quantities, q)
		}
	}
	for _, q := range v.quantities() {
		for _, u := range v.meant(q.units) {
			add(privateQuantity{of: u.of, value: q.amount*u.size + u.zero})
		}
	}
	if len(seen) > 0 || v.sense.of == "" {
		return
	}
	for _, m := range figureAlone.FindAllString(v.plain.text, -1) {
		for _, q := range amountsOf(m) {
			if v.sense.amountIn == nil {
				add(privateQuantity{of: v.sense.of, value: q.amount, bare: true})
			}
			for _, u := range v.sense.amountIn {
				add(privateQuantity{of: u.of, value: q.amount*u.size + u.zero})
			}
		}
	}
}

// meant are the units that a kind leaves of those that a word may be: "pounds" of
// a load are of force.
func (v *privateValue) meant(all []unit) []unit {
	if v.sense.of == "" {
		return all
	}
	var some []unit
	for _, u := range all {
		if u.of == v.sense.of {
			some = append(some, u)
		}
	}
	if some == nil {
		return all
	}
	return some
}

type quantityIndex map[dimension][]privateQuantity

func newQuantityIndex(all []privateQuantity) quantityIndex {
	x := quantityIndex{}
	for _, q := range all {
		x[q.of] = append(x[q.of], q)
	}
	return x
}

// in finds the quantities of a text that a private one equals.
func (x quantityIndex) in(p plain) []Finding {
	if len(x) == 0 || !p.digits && p.spoken == nil && !strings.ContainsAny(p.text, "½¼¾") && !p.has("half", "quarter", "a", "an") {
		return nil
	}
	var found []Finding
	for _, q := range quantitiesIn(p) {
		if k, ok := x.equal(q); ok {
			found = append(found, Finding{Code: CodeNumber, Kind: k.kind, Where: k.where, Start: q.at.from, End: q.at.to, Shown: numberHint(p.text[q.at.from:q.at.to])})
		}
	}
	return found
}

func (x quantityIndex) equal(q quantity) (privateQuantity, bool) {
	for _, u := range q.units {
		for _, k := range x[u.of] {
			written, tolerance := q.amount*u.size+u.zero, q.tolerance*u.size
			if k.bare {
				written, tolerance = q.amount, q.tolerance
			}
			const rounding = 1e-9 // of the arithmetic
			if math.Abs(k.value-written) <= tolerance+rounding*math.Abs(written) {
				return k, true
			}
		}
	}
	return privateQuantity{}, false
}
