package card

import (
	"regexp"
	"strconv"
	"strings"
)

// spoken spells numbers, units and numbered names in English text as they are said
// aloud: "1.63 mm" is "one point six three millimetres". Text in another language
// is left as it is, for a voice of that language. How numbers are said: common
// practice, no source.
func spoken(text, language string) string {
	if language != "en" && !strings.HasPrefix(language, "en-") {
		return text
	}
	text = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u00ad", "").Replace(text)
	text = fractionPattern.ReplaceAllStringFunc(text, sayFraction)
	text = moneyPattern.ReplaceAllStringFunc(text, sayMoney)
	text = datePattern.ReplaceAllStringFunc(text, sayDate)
	text = yearPattern.ReplaceAllStringFunc(text, sayYearAfter)
	text = namePattern.ReplaceAllStringFunc(text, sayName)
	text = rangePattern.ReplaceAllString(text, "$1 to $2")
	text = timesPattern.ReplaceAllString(text, "$1 by $2")
	text = placePattern.ReplaceAllString(text, "$1"+noUnit+" in $2")
	return strings.ReplaceAll(measurePattern.ReplaceAllStringFunc(text, sayMeasure), noUnit, "")
}

// noUnit keeps a number apart from what only looks like its unit: "12 in the hull".
const noUnit = "\u2060"

const months = `(?:January|February|March|April|May|June|July|August|September|October|November|December)`

var (
	fractionPattern = regexp.MustCompile(`\b(?:\d{1,3} )?\d{1,3}/\d{1,3}\b|[½¼¾]`)
	moneyPattern    = regexp.MustCompile(`(?:£|GBP )\d[\d,]*(?:\.\d\d)?\b`)
	datePattern     = regexp.MustCompile(`\b\d{1,2} ` + months + `\b(?: \d{4}\b)?`)
	yearPattern     = regexp.MustCompile(`\b(?:` + months + `|[Ii]n|[Ss]ince|[Uu]ntil|[Bb]y|[Ff]rom|[Bb]efore|[Aa]fter) (?:1[1-9]|20)\d\d\b`)
	namePattern     = regexp.MustCompile(`\b[A-Z]{1,4}-?\d{1,4}[a-z]?\b|\b\d{1,2}[a-z]\b`)
	rangePattern    = regexp.MustCompile(`(\d)\s?[-–]\s?(\d)`)
	placePattern    = regexp.MustCompile(`(\d) in (the|a|an|all|our|its|this|that|these|each|every)\b`)
	timesPattern    = regexp.MustCompile(`(\d) ?× ?(\d)`)
	measurePattern  = regexp.MustCompile(`\d[\d,]*(?:\.\d+)?(?: ?(?:%|°C|°F|mm|cm|km|kg|kW|hp|psi|rpm|thou|SWG|swg|AWG|awg|lbs?|ft|min|bar|in|m|g|s|V)(?:[^\pL]|$))?`)
)

// units are the spoken names, one and many.
func unitName(unit string) (one, many string) {
	names := map[string][2]string{
		"%": {"per cent", "per cent"}, "°C": {"degree Celsius", "degrees Celsius"}, "°F": {"degree Fahrenheit", "degrees Fahrenheit"},
		"mm": {"millimetre", "millimetres"}, "cm": {"centimetre", "centimetres"}, "m": {"metre", "metres"}, "km": {"kilometre", "kilometres"},
		"in": {"inch", "inches"}, "ft": {"foot", "feet"}, "thou": {"thousandth of an inch", "thousandths of an inch"},
		"SWG": {"standard wire gauge", "standard wire gauge"}, "AWG": {"American wire gauge", "American wire gauge"},
		"g": {"gram", "grams"}, "kg": {"kilogram", "kilograms"}, "lb": {"pound", "pounds"}, "lbs": {"pound", "pounds"},
		"s": {"second", "seconds"}, "min": {"minute", "minutes"}, "psi": {"pound per square inch", "pounds per square inch"},
		"bar": {"bar", "bar"}, "hp": {"horsepower", "horsepower"}, "kW": {"kilowatt", "kilowatts"}, "V": {"volt", "volts"},
		"rpm": {"revolution a minute", "revolutions a minute"},
	}
	if unit == "swg" || unit == "awg" {
		unit = strings.ToUpper(unit)
	}
	n := names[unit]
	return n[0], n[1]
}

var measureParts = regexp.MustCompile(`^(\d[\d,]*(?:\.\d+)?)( ?)(%|°C|°F|[A-Za-z]+)?(.*)$`)

// sayMeasure says a number, with its unit if it has one.
func sayMeasure(s string) string {
	p := measureParts.FindStringSubmatch(s)
	if p == nil {
		return s
	}
	number := strings.TrimRight(p[1], ",")
	comma := p[1][len(number):]
	said := sayNumber(number) + comma
	if p[3] == "" {
		return said + p[2] + p[4]
	}
	one, many := unitName(p[3])
	if number == "1" {
		many = one
	}
	return said + " " + many + p[4]
}

// sayNumber says a number of up to nine digits before the point; a longer one is
// said digit by digit.
func sayNumber(s string) string {
	whole, part, _ := strings.Cut(strings.ReplaceAll(s, ",", ""), ".")
	said := sayDigits(whole)
	if n, err := strconv.Atoi(whole); err == nil && len(whole) <= 9 {
		said = sayWhole(n)
	}
	if part != "" {
		said += " point " + sayDigits(part)
	}
	return said
}

func sayDigits(s string) string {
	var all []string
	for _, r := range s {
		all = append(all, smallNumber(int(r-'0')))
	}
	return strings.Join(all, " ")
}

// smallNumber names the numbers under twenty.
func smallNumber(n int) string {
	return [...]string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
		"thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"}[n]
}

func sayWhole(n int) string {
	switch {
	case n < 20:
		return smallNumber(n)
	case n < 100:
		said := [...]string{"twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"}[n/10-2]
		if n%10 > 0 {
			said += "-" + smallNumber(n%10)
		}
		return said
	case n < 1000:
		said := smallNumber(n/100) + " hundred"
		if n%100 > 0 {
			said += " and " + sayWhole(n%100)
		}
		return said
	}
	size, name := 1000, "thousand"
	if n >= 1_000_000 {
		size, name = 1_000_000, "million"
	}
	said := sayWhole(n/size) + " " + name
	switch rest := n % size; {
	case rest > 0 && rest < 100:
		said += " and " + sayWhole(rest)
	case rest > 0:
		said += " " + sayWhole(rest)
	}
	return said
}

// sayYear says a year as two pairs: "nineteen thirty-four", "nineteen oh six".
func sayYear(s string) string {
	n, err := strconv.Atoi(s)
	if err != nil {
		return s
	}
	century, rest := n/100, n%100
	switch {
	case n%1000 < 10:
		return sayWhole(n)
	case rest == 0:
		return sayWhole(century) + " hundred"
	case rest < 10:
		return sayWhole(century) + " oh " + smallNumber(rest)
	}
	return sayWhole(century) + " " + sayWhole(rest)
}

func sayYearAfter(s string) string {
	word, year, _ := strings.Cut(s, " ")
	return word + " " + sayYear(year)
}

// sayDate says "25 January 2031" as "the twenty-fifth of January twenty thirty-one".
func sayDate(s string) string {
	parts := strings.Fields(s)
	n, err := strconv.Atoi(parts[0])
	if err != nil || n == 0 {
		return s
	}
	said := "the " + sayOrdinal(n) + " of " + parts[1]
	if len(parts) > 2 {
		said += " " + sayYear(parts[2])
	}
	return said
}

func sayOrdinal(n int) string {
	whole := sayWhole(n)
	at := max(strings.LastIndexAny(whole, " -")+1, 0)
	last := whole[at:]
	if odd, ok := map[string]string{"one": "first", "two": "second", "three": "third", "five": "fifth", "eight": "eighth", "nine": "ninth", "twelve": "twelfth"}[last]; ok {
		return whole[:at] + odd
	}
	if stem, ok := strings.CutSuffix(last, "y"); ok {
		return whole[:at] + stem + "ieth"
	}
	return whole + "th"
}

// sayFraction says "1/2" as "one half" and "3 3/8" as "three and three eighths".
func sayFraction(s string) string {
	if plain, ok := map[string]string{"½": "one half", "¼": "one quarter", "¾": "three quarters"}[s]; ok {
		return plain
	}
	whole, part, mixed := strings.Cut(s, " ")
	if !mixed {
		whole, part = "", s
	}
	top, bottom, _ := strings.Cut(part, "/")
	n, err1 := strconv.Atoi(top)
	d, err2 := strconv.Atoi(bottom)
	if err1 != nil || err2 != nil || d == 0 {
		return s
	}
	name := sayOrdinal(d)
	switch d {
	case 1:
		return s
	case 2:
		name = "half"
	case 4:
		name = "quarter"
	}
	if n > 1 && d > 2 {
		name += "s"
	}
	said := sayWhole(n) + " " + name
	if mixed {
		said = sayNumber(whole) + " and " + said
	}
	return said
}

func sayMoney(s string) string {
	s = strings.TrimPrefix(strings.TrimPrefix(s, "£"), "GBP ")
	pounds, pence, _ := strings.Cut(s, ".")
	said := sayNumber(pounds) + " pounds"
	if pounds == "1" {
		said = "one pound"
	}
	if n, err := strconv.Atoi(pence); err == nil && n > 0 {
		said += " " + sayWhole(n)
	}
	return said
}

// sayName spells a name of capitals and digits: "FO-7" is "F O seven", "3a" is
// "three a".
func sayName(s string) string {
	var all []string
	for _, run := range regexp.MustCompile(`\d+|\pL`).FindAllString(s, -1) {
		if n, err := strconv.Atoi(run); err == nil {
			run = sayWhole(n)
		}
		all = append(all, run)
	}
	return strings.Join(all, " ")
}
