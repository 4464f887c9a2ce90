package leak

import (
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode"
)

// role is what a private value is, whatever its kind is called.
type role int8

const (
	aTerm role = iota
	aPerson
	aFirm
	anIdentifier
	aCost
	aReading
	aContact
)

// kindWords cuts the name of a kind into small words: "leastThickness",
// "least_thickness" and "Least thicknesses" are the same two.
func kindWords(kind string) []string {
	var b strings.Builder
	rs := []rune(kind)
	for i, r := range rs {
		switch {
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			r = ' '
		case i > 0 && unicode.IsUpper(r) && (unicode.IsLower(rs[i-1]) || i+1 < len(rs) && unicode.IsUpper(rs[i-1]) && unicode.IsLower(rs[i+1])):
			b.WriteByte(' ')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	words := strings.Fields(b.String())
	for i, w := range words {
		words[i] = singular(w)
	}
	return words
}

func singular(w string) string {
	switch {
	case len(w) > 4 && strings.HasSuffix(w, "ies"):
		return strings.TrimSuffix(w, "ies") + "y"
	case len(w) > 5 && strings.HasSuffix(w, "sses"):
		return strings.TrimSuffix(w, "es")
	case len(w) > 2 && strings.HasSuffix(w, "s") && !strings.HasSuffix(w, "ss") && !strings.HasSuffix(w, "is"):
		return strings.TrimSuffix(w, "s")
	}
	return w
}

// kindSense is what the words of a kind say. More than one may hold: "supplier
// part number" speaks of a firm and of a number, and the value decides.
type kindSense struct {
	contact, reading, cost, firm, person, term bool

	named    bool // "name": of a person, unless another word says of what
	size     bool // a length even where its figure has no unit: "thickness"
	share    bool // a share even where its figure has no sign: "loss"
	number   bool // "number", "ref": a figure alone is no sum and no size
	unit     string
	currency string

	of       dimension // what a quantity is of: "weight", "pressure"
	amountIn []unit    // where the kind names a unit: "weight_kg"

	// identifier: one is meant. beside are the words that introduce it in a text.
	identifier bool
	beside     []string
}

func senseOf(kind string) kindSense {
	words := kindWords(kind)
	whole := strings.Join(words, "")
	var s kindSense
	for _, w := range words {
		s.add(w)
	}
	if len(words) > 1 {
		s.add(whole)
	}
	for _, w := range [...]string{"email", "phone", "postcode", "postalcode", "zipcode"} {
		s.contact = s.contact || strings.Contains(whole, w)
	}
	for _, w := range [...]string{"thickness", "measurement", "diameter", "reading"} {
		if strings.Contains(whole, w) {
			s.reading, s.size = true, true
		}
	}
	for _, ending := range [...]string{"num", "nr", "no", "number", "ref", "id"} { // "partnum"
		if w, glued := strings.CutSuffix(whole, ending); glued && len(w) > 1 {
			var of kindSense
			of.addIdentifier(w)
			s.identifier = s.identifier || of.identifier
		}
	}
	return s
}

func (s *kindSense) add(word string) {
	s.addQuantity(word)
	s.addName(word)
	s.addIdentifier(word)
}

func (s *kindSense) addQuantity(word string) {
	switch word {
	case "email", "phone", "telephone", "tel", "mobile", "mob", "cell", "fax", "landline", "postcode", "postal", "zip", "address", "mail", "telno":
		s.contact = true
	case "thickness", "thick", "thk", "measurement", "measure", "measured", "dimension", "dim", "gauge", "gage", "depth", "diameter", "dia", "width", "breadth", "length", "height",
		"radius", "caliper", "calliper", "micrometer", "wall", "distance":
		s.reading, s.size = true, true
	case "reading", "least", "min", "minimum", "max", "maximum", "nominal", "original", "remaining", "residual", "left", "limit", "tolerance", "size", "pit", "pitting", "corrosion", "metal",
		"thinnest", "actual", "clearance", "gap", "new", "section":
		s.reading = true
	case "loss", "lost", "wear", "worn", "wastage", "percent", "percentage", "pct", "share", "ratio":
		s.reading, s.share = true, true
	case "mm", "cm", "in", "inch", "thou", "swg", "awg", "micron", "um":
		s.reading, s.unit = true, word
	case "cost", "price", "amount", "fee", "bill", "quote", "quotation", "paid", "payment", "spend", "spent", "spending", "sum", "total", "charge", "money", "budget", "expense", "expenditure",
		"purchase", "donation", "estimate", "outlay", "deposit", "cash", "wage", "value", "valuation", "fund", "grant", "invoice", "invoiced", "sale", "insurance":
		s.cost = true
	case "gbp", "eur", "usd", "pound", "euro", "dollar", "sterling":
		s.cost, s.currency = true, currencyOf(word)
	}
	if of := dimensionOf(word); of != "" {
		s.reading, s.of = true, of
	}
	switch word {
	case "kg", "lb", "oz", "gram", "kilogram", "tonne", "psi", "kpa", "mpa", "nm", "lbf", "litre", "liter", "ml", "gallon", "celsius", "fahrenheit", "mph", "kmh", "knot", "rpm", "volt", "amp", "ohm", "watt", "kw":
		s.reading, s.amountIn = true, units().byName[word]
		if s.of == "" && len(s.amountIn) > 0 {
			s.of = s.amountIn[0].of
		}
	}
}

// dimensionOf is what the word of a kind says that its value is of.
func dimensionOf(word string) dimension {
	switch word {
	case "weight", "weighed", "mass", "wt":
		return ofMass
	case "force", "load", "pull", "tension", "thrust":
		return ofForce
	case "pressure", "press":
		return ofPressure
	case "torque", "tightening":
		return ofTorque
	case "temperature", "temp", "oven":
		return ofTemperature
	case "volume", "capacity":
		return ofVolume
	case "speed", "velocity", "airspeed":
		return ofSpeed
	case "rev":
		return ofTurning
	case "voltage":
		return ofVoltage
	case "current", "amperage":
		return ofCurrent
	case "resistance":
		return ofResistance
	case "power", "horsepower":
		return ofPower
	case "area":
		return ofArea
	case "hour", "duration", "time", "runtime":
		return ofTime
	case "angle":
		return ofAngle
	}
	return ""
}

func (s *kindSense) addName(word string) {
	switch word {
	case "supplier", "supplied", "vendor", "firm", "company", "manufacturer", "mfr", "maker", "contractor", "subcontractor", "business", "merchant", "stockist", "foundry", "organisation", "organization",
		"org", "trader", "dealer", "seller", "retailer", "wholesaler", "provider", "shop", "mill", "fabricator":
		s.firm = true
	case "person", "people", "who", "contact", "engineer", "inspector", "restorer", "volunteer", "member", "staff", "employee", "author", "signatory", "signature", "signed", "signer", "approver",
		"by", "worker", "guide", "officer", "keeper", "donor", "owner", "lender", "crew", "pilot", "surname", "forename", "firstname", "lastname", "fullname", "initial", "guardian", "witness", "visitor", "trustee",
		"apprentice", "welder", "fitter", "mechanic", "technician", "supervisor", "foreman", "colleague", "individual", "operator", "customer", "client", "sponsor", "personnel", "human", "party", "neighbour",
		"helper", "workman", "tradesman", "taker", "photographer", "writer", "speaker", "manager", "director", "chair", "chairman", "chairwoman", "curator", "conservator", "archivist", "accountant", "treasurer", "secretary", "driver",
		"friend", "relative", "widow", "family", "minor", "child", "children", "boy", "girl", "man", "woman", "parent", "surveyor", "designer", "draughtsman", "assessor", "auditor", "examiner", "reviewer", "bystander", "resident", "teacher", "pupil", "student",
		"machinist", "riveter", "painter", "electrician", "foreperson", "rigger", "captain", "navigator", "observer", "historian", "collector", "descendant", "informant", "respondent", "holder", "user", "recipient", "sender", "addressee":
		s.person = true
	case "name":
		s.named = true
	case "term", "word", "phrase", "secret", "codename", "codeword", "project", "keyword", "nickname", "title", "topic", "subject", "file", "ship", "boat", "machine", "product", "brand", "trade", "place", "location":
		s.term = true
	}
}

func (s *kindSense) addIdentifier(word string) {
	switch word {
	case "serial", "ser", "sn", "serialno", "serialnumber":
		s.introducedBy(introducesSerial, word)
	case "drawing", "drg", "dwg", "drawingno", "drawingnumber", "plan", "blueprint":
		s.introducedBy(introducesDrawing, word)
	case "part", "pn", "partno", "partnumber", "component":
		s.introducedBy(introducesNumber, word)
	case "report", "rpt", "ndt", "lab", "certificate", "cert":
		s.introducedBy(introducesReport, word)
	case "approval", "approved", "mod", "modification", "concession", "permit", "licence", "license", "waiver", "deviation":
		s.introducedBy(introducesApproval, word)
	case "number", "num", "no", "nr", "ref", "reference", "id", "identifier", "code", "ident", "key", "centre", "center":
		s.number = true
		s.introducedBy(introducesNumber, "")
	case "batch", "lot", "heat", "job", "order", "po", "invoice", "tag", "asset", "stock", "register", "registration", "plate", "sheet", "document", "doc", "release", "model", "spec", "specification", "cast", "melt", "case", "claim",
		"policy", "account", "item":
		s.introducedBy(nil, word)
	}
}

func (s *kindSense) introducedBy(words []string, word string) {
	s.identifier = true
	s.beside = append(s.beside, words...)
	if word != "" && !slices.Contains(s.beside, word) && len(word) > 2 {
		s.beside = append(s.beside, word)
	}
}

// roleOf is what a value of a kind is taken for. Where the words of the kind
// leave it open, the form of the value decides.
func (s kindSense) roleOf(v *privateValue) role {
	switch {
	case (s.contact || !s.identifier) && v.isContact():
		return aContact
	case s.reading && len(v.readings()) > 0, !s.cost && !s.identifier && v.isReading():
		return aReading
	case s.reading && !s.cost && !s.identifier && !s.firm && !s.person && len(v.quantities()) > 0, s.of != "" && !s.identifier && v.isQuantity(), !s.known() && !v.isMoney() && v.isQuantity():
		return aReading
	case s.cost && len(v.sums()) > 0, !s.identifier && v.isMoney():
		return aCost
	case s.identifier && !s.cost && !s.size && !s.share && v.plain.digits:
		return anIdentifier
	}
	figure, decimal := v.isFigure()
	switch {
	case figure && s.identifier && !s.cost && !decimal:
		return anIdentifier
	case figure && !s.number && (s.size || s.share || s.unit != "" || s.of != "" && !s.identifier):
		return aReading
	case figure && !s.number && s.cost:
		return aCost
	case v.plain.digits && s.identifier:
		return anIdentifier
	case s.person && !looksLikeFirm(v.Value.Value):
		return aPerson
	case s.firm || s.person:
		return aFirm
	case s.identifier && !s.named && !s.term:
		return anIdentifier
	case s.named && looksLikeFirm(v.Value.Value):
		return aFirm
	case s.named && !s.identifier && !s.term && looksLikePerson(v.Value.Value):
		return aPerson
	case v.plain.digits && !s.term:
		return anIdentifier
	}
	return aTerm
}

// privateValue is a private value with what can be read in it, each found when
// it is first asked for.
type privateValue struct {
	Value
	sense kindSense
	plain plain

	lengths  []valueReading
	money    []sum
	amounts  []quantity
	measured bool
	counted  bool
	weighed  bool
}

func newPrivateValue(v Value, s kindSense) *privateValue {
	return &privateValue{Value: v, sense: s, plain: readPlain(v.Value)}
}

// readings are the measurements and shares in a value.
func (v *privateValue) readings() []valueReading {
	if !v.measured {
		v.measured = true
		if namesUnits(v.plain) || namesShares(v.plain) {
			v.lengths = readingsOf(v.plain)
		}
	}
	return v.lengths
}

// sums are the amounts of money in a value.
func (v *privateValue) sums() []sum {
	if !v.counted {
		v.counted = true
		if v.money = plainSums(v.plain); v.money == nil {
			v.money = furtherSums(v.plain)
		}
	}
	return v.money
}

// isReading reports whether a value is nothing but measurements.
func (v *privateValue) isReading() bool {
	var at []span
	for _, r := range v.readings() {
		at = append(at, r.at)
	}
	return at != nil && isAside(without(v.plain.text, at))
}

// isMoney reports whether a value is nothing but sums.
func (v *privateValue) isMoney() bool {
	var at []span
	for _, s := range v.sums() {
		at = append(at, span{from: s.start, to: s.end})
	}
	return at != nil && isAside(without(v.plain.text, at))
}

// isFigure reports whether a value is a number without a unit, and whether it
// has a decimal sign.
func (v *privateValue) isFigure() (figure, decimal bool) {
	text := v.plain.text
	at := bareFigure.FindStringIndex(text)
	if at == nil {
		return false, false
	}
	return isAside(text[:at[0]] + " " + text[at[1]:]), strings.ContainsAny(strings.Trim(text[at[0]:at[1]], "., "), ".,")
}

// isContact reports whether a value has an email address in it, or is a telephone
// number or a postal code.
func (v *privateValue) isContact() bool {
	if strings.Contains(v.plain.text, "@") || v.sense.contact {
		if len(emailsIn(v.plain)) > 0 {
			return true
		}
	}
	if !v.plain.digits || !v.sense.contact && v.sense.known() && !v.sense.person {
		return false
	}
	phones, codes := telephonesIn(v.plain), postcodesIn(v.plain)
	return phones != nil && isAside(without(v.plain.text, phones)) || codes != nil && isAside(without(v.plain.text, codes))
}

var bareFigure = regexp.MustCompile(`[0-9][0-9,. ]*`)

// without is a text with some places of it left out.
func without(text string, places []span) string {
	b := []byte(text)
	for _, s := range places {
		for i := s.from; i < s.to; i++ {
			b[i] = ' '
		}
	}
	return string(b)
}

// isAside reports whether a text says nothing by itself.
func isAside(text string) bool {
	for _, p := range pieces(text) {
		if p.digits || !asides()[p.text] {
			return false
		}
	}
	return true
}

// asides are what people write round a figure and that says nothing else.
var asides = sync.OnceValue(func() map[string]bool {
	all := map[string]bool{}
	for _, w := range strings.Fields(`about approx approximately circa ca c around roughly nearly almost over under only min minimum max maximum nominal nom original originally new least measured remaining left now was were is at
		thick thickness sheet plus inc incl including includes ex exc excl excluding vat tax net gross each per total in all from to down and or of the worst best lost loss gone say cost price paid deep wide long wall
		spot place edge end side port starboard centre middle corner after before cleaning cleaned as mean average reading readings gauge no number found there here local locally high low hole pit pits labour materials material
		invoice bill quoted gbp eur usd`) {
		all[w] = true
	}
	return all
})

// looksLikeFirm: a name with the form of a company or with a word of a trade.
func looksLikeFirm(value string) bool {
	if strings.Contains(value, "&") {
		return true
	}
	ps := piecesOf(strings.ToLower(value))
	for _, p := range ps[min(1, len(ps)):] {
		if isLegalForm(p.text) || isTradeWord(p.text) {
			return true
		}
	}
	return false
}

// isTradeWord: what a firm does or calls itself.
func isTradeWord(s string) bool {
	switch s {
	case "castings", "bearings", "fasteners", "alloys", "metals", "works", "engineering", "engineers", "foundry", "forge", "aerospace", "aviation", "supplies", "supply", "services", "products", "plating", "grinding",
		"precision", "tools", "tooling", "timber", "rubber", "glass", "paints", "coatings", "textiles", "fabrics", "steel", "sons", "brothers", "bros", "daughters", "partners", "associates", "industries", "technologies",
		"laboratory", "laboratories", "labs", "museum", "trust", "society", "club", "council", "college", "university", "marine", "boatyard", "yard", "garage", "welding", "fabrications", "machining", "instruments", "electrical", "hydraulics":
		return true
	}
	return false
}

// looksLikePerson: one to four words with capitals, and no figures.
func looksLikePerson(value string) bool {
	words := strings.Fields(value)
	for _, w := range words {
		first := []rune(w)[0]
		if strings.ContainsAny(w, "0123456789") || !unicode.IsUpper(first) && first != '(' && !isParticle(w) {
			return false
		}
	}
	return len(words) > 0 && len(words) < 6
}
