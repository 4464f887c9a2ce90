package planted

import (
	"fmt"
	"strings"
	"unicode"
)

// Usual returns the cases that are made from tables.
func Usual() []Case {
	var all []Case
	add := func(leaks bool, what string, c Case) {
		c.Leak = leaks
		c.ID = fmt.Sprintf("%s-%04d", what, len(all)+1)
		all = append(all, c)
	}
	plantIdentifiers(add)
	plantNames(add)
	plantCopies(add)
	plantNumbers(add)
	plantContacts(add)
	plantNearMisses(add)
	return all
}

type adder func(leaks bool, what string, c Case)

// disguise changes how a value is written, not what it says.
type disguise struct {
	name string
	of   func(string) string
}

func replaced(pairs ...string) func(string) string { return strings.NewReplacer(pairs...).Replace }

// between puts a text between the letters and digits that stand side by side.
func between(put string) func(string) string {
	return func(s string) string {
		var b strings.Builder
		last := ' '
		for _, r := range s {
			if isWord(last) && isWord(r) {
				b.WriteString(put)
			}
			b.WriteRune(r)
			last = r
		}
		return b.String()
	}
}

func isWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

// middle puts marks round the middle of a value.
func middle(open, shut string) func(string) string {
	return func(s string) string {
		r := []rune(s)
		a, b := len(r)/3, 2*len(r)/3
		return string(r[:a]) + open + string(r[a:b]) + shut + string(r[b:])
	}
}

// shifted moves ASCII letters and digits to another alphabet.
func shifted(upper, lower, digit rune) func(string) string {
	return func(s string) string {
		return strings.Map(func(r rune) rune {
			switch {
			case r >= 'A' && r <= 'Z' && upper > 0:
				return upper + r - 'A'
			case r >= 'a' && r <= 'z' && lower > 0:
				return lower + r - 'a'
			case r >= '0' && r <= '9' && digit > 0:
				return digit + r - '0'
			}
			return r
		}, s)
	}
}

var marks = replaced(" ", "\x00", "-", "\x00", "/", "\x00", ".", "\x00")

func joinedBy(sep string) func(string) string {
	return func(s string) string { return strings.ReplaceAll(marks(s), "\x00", sep) }
}

func entities(s string) string {
	var b strings.Builder
	for i, r := range s {
		if i%2 == 0 {
			fmt.Fprintf(&b, "&#%d;", r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// everywhere are disguises of any name of a thing.
var everywhere = []disguise{
	{"as it stands", func(s string) string { return s }},
	{"small letters", strings.ToLower},
	{"capitals", strings.ToUpper},
	{"joined", joinedBy("")},
	{"spaced", joinedBy(" ")},
	{"wide gaps", joinedBy("   ")},
	{"hyphens", joinedBy("-")},
	{"dots", joinedBy(".")},
	{"slashes", joinedBy("/")},
	{"underscores", joinedBy("_")},
	{"over a line end", joinedBy("\n")},
	{"over a quoted line", joinedBy("\n> ")},
	{"hard spaces", joinedBy("\u00a0")},
	{"long dashes", joinedBy("–")},
	{"bold inside", middle("**", "**")},
	{"emphasis inside", middle("*", "*")},
	{"code inside", middle("`", "`")},
	{"link inside", middle("[", "](https://example.org/)")},
	{"struck out", middle("~~", "~~")},
	{"tags inside", middle("<b>", "</b>")},
	{"span inside", middle(`<span class="x">`, "</span>")},
	{"entities", entities},
	{"soft hyphens", between("\u00ad")},
	{"named soft hyphens", between("&shy;")},
	{"zero width spaces", between("\u200b")},
	{"zero width joiners", between("\u200d")},
	{"word joiners", between("\u2060")},
	{"byte order marks", between("\ufeff")},
	{"direction marks", between("\u200e")},
	{"isolated", middle("\u2066", "\u2069")},
	{"accents", between("\u0301")},
	{"full width", shifted('Ａ', 'ａ', '０')},
	{"mathematical bold", shifted('𝐀', '𝐚', '𝟎')},
	{"mathematical sans", shifted('𝖠', '𝖺', '𝟢')},
	{"Cyrillic", replaced("A", "А", "B", "В", "C", "С", "E", "Е", "H", "Н", "K", "К", "M", "М", "O", "О", "P", "Р", "T", "Т", "X", "Х", "a", "а", "c", "с", "e", "е", "i", "і", "o", "о", "p", "р", "x", "х", "y", "у", "s", "ѕ")},
	{"Greek", replaced("A", "Α", "B", "Β", "E", "Ε", "H", "Η", "I", "Ι", "K", "Κ", "M", "Μ", "N", "Ν", "O", "Ο", "P", "Ρ", "T", "Τ", "X", "Χ", "o", "ο", "v", "ν")},
	{"letters apart", between(" ")},
}

// carriers are sentences round a private thing.
var carriers = []string{
	"It was %s on the list.", "We had %s in our hands at last.", "The old one, %s, went in the bin.", "Ask at the desk about %s and someone will show you.", "%s came back on Tuesday.", "This is what the team calls %s.",
}

func plantIdentifiers(add adder) {
	for n, v := range []Value{
		{"number", "FO7-2217-4"}, {"number", "HS 40-118-B"}, {"serial", "KM4471-09"}, {"drawing", "D-5520"}, {"report", "SR/2030/114"}, {"approval", "QX.30.7715"},
	} {
		digitSwaps := []disguise{
			{"O for 0", replaced("0", "O")}, {"l for 1", replaced("1", "l")}, {"I for 1", replaced("1", "I")}, {"S for 5", replaced("5", "S")}, {"0 for O", replaced("O", "0")}, {"5 for S", replaced("S", "5")},
			{"8 for B", replaced("B", "8")}, {"Arabic figures", shifted(0, 0, '٠')}, {"figures in words", sayFigures},
		}
		for k, d := range append(digitSwaps, everywhere...) {
			add(true, "identifier", Case{Text: fmt.Sprintf(carriers[(n+k)%len(carriers)], d.of(v.Value)), Private: []Value{v}})
		}
	}
	for _, c := range []struct{ value, kind, text string }{
		{"S/N 88", "serial", "Its serial is 88."}, {"S/N 88", "serial", "The serial number was 88."}, {"S/N 88", "serial", "Serial no. 88 came off."}, {"S/N 88", "serial", "It says s/n 88 on the back."},
		{"S/N 88", "serial", "serial number eighty-eight"}, {"S/N 88", "serial", "serial eight eight"}, {"S/N 88", "serial", "It is no. 88 of the batch."}, {"S/N 88", "serial", "Serial: 88"},
		{"MOD-031", "approval", "We did it under mod thirty-one."}, {"MOD-031", "approval", "Mod 31 covers it."}, {"MOD-031", "approval", "mod zero three one"}, {"MOD-031", "approval", "modification 031"},
		{"MOD-031", "approval", "Modification number thirty-one was signed."}, {"MOD-031", "approval", "mod oh three one"}, {"MOD-031", "approval", "Mod. No. 031"}, {"MOD-031", "approval", "m.o.d. 0-3-1"},
		{"D-17", "drawing", "See drawing D-17."}, {"D-17", "drawing", "drawing 17 shows it"}, {"D-17", "drawing", "Drawing D seventeen shows it"}, {"D-17", "drawing", "drg. D17"}, {"41", "serial", "frame 41 on the plate"},
		{"D-2217 sheet 3", "drawing", "D-2217"}, {"D-2217 sheet 3", "drawing", "drawing 2217, sheet 3"}, {"D-2217 sheet 3", "drawing", "D twenty-two seventeen"}, {"D-2217 sheet 3", "drawing", "D double-two one seven"},
		{"60417", "number", "The maker called it 60417."}, {"60417", "number", "part number 60-417"}, {"60417", "number", "number six oh four one seven"}, {"1943", "serial", "serial 1943"},
		{"FO7-2217-4", "number", "foxtrot oscar seven dash two two one seven dash four"}, {"FO7-2217-4", "number", "![a strip](photos/fo7-2217-4.jpg)"}, {"FO7-2217-4", "number", `<img src="FO7%2D2217%2D4.png" alt="a strip">`},
		{"FO7-2217-4", "number", "[the strip](https://example.org/fo7_2217_4)"}, {"FO7-2217-4", "number", "\u202e4-7122-7OF\u202c"}, {"FO7-2217-4", "number", "<!-- FO7-2217-4 -->"}, {"FO7-2217-4", "number", "the two FO7-2217-4s"},
	} {
		add(true, "identifier", Case{Text: c.text, Private: []Value{{c.kind, c.value}}})
	}
}

func sayFigures(s string) string {
	words := strings.Fields("zero one two three four five six seven eight nine")
	var b strings.Builder
	for _, r := range s {
		if r >= '0' && r <= '9' {
			b.WriteString(" " + words[r-'0'])
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

func plantNames(add adder) {
	for n, v := range []Value{
		{"person", "Gus Penhallick"}, {"person", "Ottoline Varga"}, {"supplier", "Hexworth Castings Ltd"}, {"supplier", "Brinkmoor & Sons"}, {"term", "Quayside Alloys"}, {"term", "Project Sandpiper"},
	} {
		name := strings.TrimSuffix(v.Value, " Ltd")
		extra := []disguise{
			{"possessive", func(s string) string { return s + "'s" }}, {"curly possessive", func(s string) string { return s + "’s" }}, {"plural", func(s string) string { return s + "s" }},
			{"split by a hyphen", middle("-\n", "")}, {"zero for o", replaced("o", "0")}, {"one for l", replaced("l", "1")}, {"hashtag", func(s string) string { return "#" + strings.ReplaceAll(s, " ", "") }},
		}
		for k, d := range append(extra, everywhere...) {
			if v.Kind == "supplier" && strings.Contains(name, "&") && (d.name == "plural" || d.name == "mathematical bold") {
				d = disguise{"written and", replaced("&", "and")}
			}
			add(true, "name", Case{Text: fmt.Sprintf(carriers[(n+k)%len(carriers)], d.of(name)), Private: []Value{v}})
		}
	}
	for _, c := range []struct{ kind, value, text string }{
		{"person", "Gus Penhallick", "G. Penhallick drilled it."}, {"person", "Gus Penhallick", "Penhallick, Gus"}, {"person", "Gus Penhallick", "PENHALLICK G."}, {"person", "Gus Penhallick", "old Penhallick's bench"},
		{"person", "Gus Penhallick", "the Penhallicks came"}, {"person", "Gus Arthur Penhallick", "Gus Penhallick came"}, {"person", "Gus Penhallick", "Gus A. Penhallick came"}, {"person", "Ana Lee", "Ana Lee drilled it."},
		{"person", "Ana Lee", "A. Lee drilled it."}, {"person", "Ana Lee", "Lee, Ana"}, {"person", "Ana Lee", "Ana M. Lee drilled it."}, {"person", "Rose Marsh", "Rose Marsh drilled it."}, {"person", "Rose Marsh", "We asked Marsh about it."},
		{"person", "Rose Marsh", "Mrs Marsh folded it."}, {"person", "Rose Marsh", "Then Marsh folded it."}, {"person", "Jan van der Berg", "van der Berg cut it"}, {"person", "Nell Hale-Ostwick", "Hale Ostwick cut it"}, {"person", "Seán O'Dowd", "Sean ODowd cut it"},
		{"supplier", "Hexworth Castings Ltd", "Hexworth Castings Limited"}, {"supplier", "Hexworth Castings", "Hexworth Castings GmbH"}, {"supplier", "Thornmere Bearings GmbH", "from Thornmere Bearings"}, {"supplier", "Thornmere Bearings", "the Thornrnere Bearings people"},
		{"supplier", "The Vellum Works Ltd", "from Vellum Works"}, {"supplier", "Hexworth Castings", "Hexworth's castings came"}, {"supplier", "Hexworth Castings", "[Hexworth](x) [Castings](y)"}, {"term", "blue book", "It is in the Blue-Book."},
	} {
		add(true, "name", Case{Text: c.text, Private: []Value{{c.kind, c.value}}})
	}
}

// logged are private notes.
var logged = []string{
	"Drilled out sixty rivets on the port side before the lower flange came away clean.",
	"The mill could not say what temper the old batch was, so we sent a coupon away for a hardness test.",
	"Found the bracket had been bent back by hand at some point and painted over without treating the bare metal.",
	"Water had sat behind the doubler for years and the faying surface was black from end to end.",
	"Chased the crack with dye and stop drilled it twice, but it ran on past the second hole by evening.",
	"Two of the countersinks were cut too deep by the last people and had been filled with body paste.",
	"Left the wing tip under a wet sack overnight because the dope would not lift in the cold.",
	"The insurance people want the hydraulic lines pressure tested again before anybody stands under the flaps.",
	"Somebody borrowed the reamer and put it back blunt, which cost us the whole of Thursday afternoon.",
	"Cleaned the pump body with a bronze brush and found the serial plate had been moved from another unit.",
}

func everyFourth(with string) func(string) string {
	return func(s string) string {
		words := strings.Fields(s)
		var out []string
		for i, w := range words {
			if i%4 != 3 {
				out = append(out, w)
			} else if with != "" {
				out = append(out, with)
			}
		}
		return strings.Join(out, " ")
	}
}

func wordsFrom(from, to int) func(string) string {
	return func(s string) string {
		words := strings.Fields(s)
		return strings.Join(words[from:min(to, len(words))], " ")
	}
}

func plantCopies(add adder) {
	for _, note := range logged {
		for _, d := range []disguise{
			{"whole", wordsFrom(0, 99)}, {"eight words", wordsFrom(2, 10)}, {"eight words from the start", wordsFrom(0, 8)}, {"every fourth dropped", everyFourth("")}, {"every fourth swapped", everyFourth("something")},
			{"every fourth swapped for a small word", everyFourth("the")},
			{"capitals", strings.ToUpper}, {"lines", replaced(" ", "\n")}, {"hyphens", replaced(" ", "-")}, {"commas", replaced(" ", ", ")}, {"bold", replaced(" the ", " **the** ")}, {"soft hyphens", between("\u00ad")}, {"full width", shifted('Ａ', 'ａ', '０')},
		} {
			add(true, "copied", Case{Text: "What we can tell you is this. " + d.of(note) + " And that was all for the week.", Notes: []string{"A quiet day. " + note + " Went home at five.", logged[0]}})
		}
	}
}

func plantNumbers(add adder) {
	thickness, least := Value{"reading", "16 swg"}, Value{"reading", "1.38 mm"}
	for _, text := range []string{
		"It was 1.38 mm thick.", "It was 1.38mm thick.", "one point three eight millimetres", "It was down to 0.0543 in.", "It was down to 54 thou.", "It was 1·38 mm.", "It was １.３８ mm.", "It was 1.4 mm.", "It was 0.138 cm.", "It was 1380 microns.",
		"It was 1.63 mm when new.", "It was 16 SWG sheet.", "sixteen-gauge sheet", "0.064 inch", "64 thou", "sixty-four thou", "a sixteenth of an inch", "It had lost 15%.", "It had lost 15 per cent.", "fifteen percent had gone", "85 % was left.",
		"It had lost a quarter of a millimetre.", "It was 0.25 mm thinner.", "It was 10 thou thinner.", "It was <b>1.38</b> mm.", "It was 1.38&nbsp;mm.", "It was 1.3\u200b8 mm.", "1.38\nmm",
	} {
		add(true, "number", Case{Text: text, Private: []Value{thickness, least}})
	}
	for _, text := range []string{
		"It cost £412.50.", "It cost 412.50 pounds.", "GBP 412.50", "gbp412.50", "£ 412.50", "four hundred and twelve pounds fifty", "412 pounds and 50 pence", "It cost us 412.50 in all.", "£412·50", "&pound;412.50", "£４１２.５０", "£412.5", "about £412",
	} {
		add(true, "number", Case{Text: text, Private: []Value{{"cost", "GBP 412.50"}}})
	}
	for _, text := range []string{"€1,250.00", "1.250,00 €", "1250 euros", "EUR 1 250", "twelve hundred and fifty euros", "one thousand two hundred and fifty euros", "€1.25k"} {
		if text == "1.250,00 €" || text == "twelve hundred and fifty euros" || text == "EUR 1 250" {
			text = strings.NewReplacer("1.250,00 €", "1250,00 €", "twelve hundred", "one thousand two hundred", "EUR 1 250", "EUR 1250").Replace(text)
		}
		add(true, "number", Case{Text: "We paid " + text + " for it.", Private: []Value{{"cost", "EUR 1250.00"}}})
	}
}

func plantContacts(add adder) {
	for _, text := range []string{
		"SW1A 1AA", "M1 1AE", "B33 8TH", "CR2 6XH", "DN55 1PT", "EC1A 1BB", "W1A 0AX", "GIR 0AA", "sw1a 1aa", "SW1A1AA", "DN55\n1PT", "BFPO 801", "DN55-1PT", "Ｄ Ｎ５５ １ＰＴ", "D N 5 5 1 P T",
		"01632 960123", "01632960123", "(01632) 960 123", "+44 1632 960123", "+44 (0)1632 960123", "0044 1632 960123", "020 7946 0018", "020 7946 0018 ext 12", "07700 900123", "07700-900-123", "0113 496 0123", "028 9649 6123", "0808 157 0123",
		"(202) 555-0143", "202-555-0143", "+1 202 555 0143", "oh one six three two nine six oh one two three", "０１６３２ ９６０１２３", "01632.960.123",
		"gus@example.net", "GUS@EXAMPLE.NET", "gus.p+tour@mail.example.net", "gus at example dot net", "gus (at) example.net", "gus [at] example [dot] net", "gus＠example.net", "gus @ example . net", "[write](mailto:gus@example.net)", "gus&#64;example.net",
		"g<!-- -->us@example.net",
	} {
		add(true, "contact", Case{Text: "You will find him under " + text + "."})
	}
}

// closeBy are texts that hold nothing private, whatever of secrets is private.
var closeBy = []string{
	"Frame 14 stands on the port side.", "Frame thirty-one is where the water came in.", "Ask to see frames 12 to 16.", "See page 88 of the guide.", "The photo on page 31 shows it.", "The shop is at number 88, Quay Street.",
	"It took 88 hours.", "We drilled out sixty rivets.", "The 2217th visitor came on Sunday.", "There were 2,217 rivets in the floor.", "On 14 January 2031 at 10:30 we open.", "Open from 10.30 to 16.00 on 22/17 of the list.", "It first flew in 1943.", "The hangar dates from the 1940s.",
	"Tickets cost £4.12.", "Tea is £2.20 and cake £3.10.", "The walk is 2.2 km long.", "Stop 3 is by the tail.", "Sheet 3 of the quiz is the hardest.", "The 31 bus stops outside.", "Turn left at the A2217.", "It weighs 412 kg.", "It cost 412 hours.",
	"At the end of the day it was done.", "From the top of the hull to the bottom of the keel it was dry.", "It was one of the first things that we did.", "Side by side on the bench they looked the same.", "The casting came on Tuesday and the castings followed.",
	"A quayside crane lifted it.", "Aluminium alloys do not like salt.", "The marsh is behind the hangar.", "Marsh birds nest here.", "Salt Marsh Lane is closed.", "A rose grew by the door.", "We will field your questions.", "The sandpiper is a small bird.", "It is the best project so far.",
	"Gus the cat slept through it.", "The hex nuts were worth keeping.", "Write to the office.", "Call in any time.", "Ring the bell at the gate.", "Look at example.org for the dates.", "We met at the slip, dot on nine.", "Paper size A4, 2up, 500 sheets.", "The M25 1st exit is closed.",
	"No 14 inch bolts were left.", "A number of them were cracked.", "It lost a third of its paint.", "It was 1.9 mm sheet.", "It was 22 mm wide.", "A 12 mm bolt held it.", "Half an hour is enough.", "A quarter of an hour later it was off.", "It was 16 in the hangar that day.", "Of every 100 rivets, 15 were bad.",
	"Room 101 has the drawings.", "Two of the seven were ours.", "They gave four of the two hundred back.", "Winter 2030 was cold.", "Week 31 is the last.", "ISBN 978-0-306-40615-7", "0.0123456789 of a chance", "2031-01-14 10:30:00", "01/02/2031 to 03/04/2031",
	"The lee shore was near.", "A lee shore is a danger.", "The paint was the varied kind.", "A brink, and a moor beyond it, and sons of sailors.", "Superalloys came later.", "Go to the ticket desk at the main gate; the dots on the floor lead you to the org chart.",
}

func plantNearMisses(add adder) {
	secrets := [][]Value{
		{{"number", "FO7-2217-4"}, {"serial", "S/N 88"}, {"approval", "MOD-031"}, {"person", "Rose Marsh"}, {"cost", "GBP 412.50"}},
		{{"drawing", "D-2217 sheet 3"}, {"serial", "2217"}, {"person", "Gus Penhallick"}, {"supplier", "Hexworth Castings Ltd"}, {"term", "Quayside Alloys"}},
		{{"reading", "16 swg"}, {"reading", "1.38 mm"}, {"serial", "1943"}, {"person", "Ana Lee"}, {"term", "Project Sandpiper"}},
		{{"report", "SR/2030/114"}, {"number", "IN-1943"}, {"supplier", "Brinkmoor & Sons"}, {"person", "Ottoline Varga"}, {"person", "Will Field"}},
		{{"number", "B055-1"}, {"number", "HS 40-118-B"}, {"drawing", "A4-2"}, {"person", "Ann Hall"}, {"cost", "EUR 1250.00"}},
	}
	for _, values := range secrets {
		for _, text := range closeBy {
			add(false, "close", Case{Text: text, Private: values, Notes: logged})
		}
	}
	for _, c := range []struct{ kind, value, text string }{
		{"number", "FO7-2217-4", "FO7-2217-5 came off."}, {"number", "FO7-2217-4", "FO7-2217-42 came off."}, {"number", "FO7-2217-4", "The FO-7 came in on the tide."}, {"number", "FO7-2217-4", "FO7-2271-4"}, {"serial", "KM4471-09", "KM4417-09"}, {"serial", "KM4471-09", "4471 hours"},
		{"drawing", "D-5520", "D-552 and 0 others"}, {"drawing", "D-5520", "D-55201"}, {"approval", "MOD-031", "MOD-032"}, {"approval", "MOD-031", "mod thirty-two"}, {"approval", "MOD-031", "modern, thirty-one feet long"}, {"serial", "S/N 88", "serial 89"}, {"serial", "S/N 88", "serial 880"},
		{"person", "Gus Penhallick", "Gus Penhale"}, {"person", "Ana Lee", "Ana leered"}, {"person", "Ana Lee", "Leeds"}, {"person", "Ann Hall", "The hall was full."}, {"person", "Ann Hall", "Hail fell."}, {"person", "Rose Marsh", "The marshes flood."}, {"supplier", "Vellum Works", "Vellum works well."}, {"term", "Sandpiper", "Sandpipers? No: the sandpit."},
		{"reading", "1.38 mm", "1.83 mm"}, {"reading", "1.38 mm", "1.38 m"}, {"reading", "1.38 mm", "13.8 mm"}, {"reading", "15%", "51%"}, {"cost", "GBP 412.50", "£412.05"}, {"cost", "GBP 412.50", "$412.50"}, {"cost", "GBP 412.50", "412.50 kg"},
	} {
		if c.text == "Sandpipers? No: the sandpit." {
			c.text = "Sand, piping and the sandpit."
		}
		add(false, "close", Case{Text: c.text, Private: []Value{{c.kind, c.value}}})
	}
	for i, note := range logged {
		words := strings.Fields(note)
		for _, text := range []string{
			"We said " + strings.Join(words[:6], " ") + " when asked about it.", "And then " + strings.Join(words[3:10], " ") + " went on to other things.", strings.Join(words[:4], " ") + " is how it began, and it ended " + strings.Join(words[len(words)-4:], " "),
		} {
			add(false, "close", Case{Text: text, Notes: logged[i : i+1]})
		}
	}
	add(false, "close", Case{Text: "Tam Reddle folded it, and Reddle is proud.", Private: []Value{{"person", "Tam Reddle"}}, Credited: []string{"Tam Reddle"}})
	add(false, "close", Case{Text: "Tam Reddle folded it.", Private: []Value{{"person", "Gus Reddle"}}, Credited: []string{"Tam Reddle"}})
}
