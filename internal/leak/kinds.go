package leak

import (
	"regexp"
	"slices"
	"strings"
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
func (s kindSense) roleOf(value string) role {
	form := formOf(value)
	switch {
	case form.contact && (s.contact || !s.identifier):
		return aContact
	case s.reading && form.someReading, form.reading && !s.cost && !s.identifier:
		return aReading
	case s.cost && form.someMoney, form.money && !s.identifier:
		return aCost
	case form.figure && s.identifier && !s.cost && !form.decimal:
		return anIdentifier
	case form.figure && !s.number && (s.size || s.share || s.unit != ""):
		return aReading
	case form.figure && !s.number && s.cost:
		return aCost
	case form.digit && s.identifier:
		return anIdentifier
	case s.person && !looksLikeFirm(value):
		return aPerson
	case s.firm || s.person:
		return aFirm
	case s.identifier && !s.named && !s.term:
		return anIdentifier
	case s.named && looksLikeFirm(value):
		return aFirm
	case s.named && !s.identifier && !s.term && looksLikePerson(value):
		return aPerson
	case form.digit && !s.term:
		return anIdentifier
	}
	return aTerm
}

// valueForm tells what a value can be by how it is written.
type valueForm struct {
	contact     bool // an address, a telephone number or a postal code
	reading     bool // nothing but measurements or shares
	someReading bool // at least one of them
	money       bool // nothing but sums
	someMoney   bool
	figure      bool // a number without a unit
	decimal     bool // with a decimal sign in it
	digit       bool
}

var (
	bareFigure = regexp.MustCompile(`[0-9][0-9,. ]*`)
	// aside is what people write round a figure and that says nothing else.
	aside = regexp.MustCompile(`(?i)\b(?:about|approx|approximately|circa|ca|c|around|roughly|nearly|almost|over|under|only|min|minimum|max|maximum|nominal|nom|original|originally|new|least|measured|remaining|left|now|was|were|is|at|thick|thickness|sheet|` +
		`plus|inc|incl|including|includes|ex|exc|excl|excluding|vat|tax|net|gross|each|per|total|in|all|from|to|down|and|or|of|the|worst|best|lost|loss|gone|say|cost|price|paid|deep|wide|long|wall|spot|place|edge|end|side|port|starboard|centre|middle|corner|after|before|cleaning|cleaned|as|mean|average|reading|readings|gauge|no|number|found|there|here|approx|about|local|locally|high|low|hole|pit|pits|labour|materials|material|invoice|bill|quoted|gbp|eur|usd)\b`)
)

func formOf(value string) valueForm {
	p := readPlain(value)
	f := valueForm{digit: p.digits}
	var readings, money []span
	for _, r := range readingsOf(value, kindSense{}) {
		readings = append(readings, r.at)
	}
	for _, s := range allSums(p) {
		money = append(money, span{from: s.start, to: s.end})
	}
	f.someReading, f.someMoney = len(readings) > 0, len(money) > 0
	f.reading = f.someReading && isAside(without(p.text, readings))
	f.money = f.someMoney && isAside(without(p.text, money))
	if at := bareFigure.FindStringIndex(p.text); at != nil {
		f.figure = isAside(p.text[:at[0]] + " " + p.text[at[1]:])
		f.decimal = strings.ContainsAny(strings.Trim(p.text[at[0]:at[1]], "., "), ".,")
	}
	f.contact = len(emailsIn(p)) > 0 || isAside(without(p.text, telephonesIn(p))) && len(telephonesIn(p)) > 0 || isAside(without(p.text, postcodesIn(p))) && len(postcodesIn(p)) > 0
	return f
}

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
	return !strings.ContainsFunc(aside.ReplaceAllString(text, ""), func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) })
}

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
