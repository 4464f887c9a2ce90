package leak

import (
	"cmp"
	"math/big"
	"regexp"
	"slices"
	"sort"
	"strings"

	"example.org/opencowl/internal/measure"
)

// told is one value that words may equal: a length or a share.
type told struct {
	part, kind, where string
	length            measure.Length
	share             measure.Percent
	rest              bool // what a share lost leaves; it counts where the words say so
}

type readingIndex struct {
	lengths, shares []told // in order of size
}

func newReadingIndex(readings []Reading) readingIndex {
	var x readingIndex
	byPart := map[string][]Reading{}
	for _, r := range readings {
		if r.IsShare {
			t := told{part: r.Part, kind: r.Kind, where: r.Where, share: r.Share}
			x.shares = append(x.shares, t)
			if t.share = 100*measure.OnePercent - t.share; t.share > 0 {
				t.rest = true
				x.shares = append(x.shares, t)
			}
			continue
		}
		x.lengths = append(x.lengths, told{part: r.Part, kind: r.Kind, where: r.Where, length: r.Length})
		byPart[r.Part] = append(byPart[r.Part], r)
	}
	for _, of := range byPart {
		for i, a := range of {
			for _, b := range of[i+1:] {
				x.addPair(a, b)
			}
		}
	}
	slices.SortFunc(x.lengths, func(a, b told) int {
		return cmp.Or(cmp.Compare(a.length, b.length), strings.Compare(a.part, b.part), strings.Compare(a.kind, b.kind), strings.Compare(a.where, b.where))
	})
	slices.SortFunc(x.shares, func(a, b told) int {
		return cmp.Or(cmp.Compare(a.share, b.share), strings.Compare(a.part, b.part), strings.Compare(a.kind, b.kind), strings.Compare(a.where, b.where))
	})
	return x
}

// addPair adds what two lengths of one part give away together.
func (x *readingIndex) addPair(a, b Reading) {
	if a.Length < b.Length {
		a, b = b, a
	}
	if a.Length == b.Length || b.Length < 0 {
		return
	}
	x.lengths = append(x.lengths, told{part: a.Part, kind: "difference of two readings", where: b.Where, length: a.Length - b.Length})
	left := new(big.Int).Mul(big.NewInt(int64(b.Length)), big.NewInt(int64(100*measure.OnePercent)))
	share := measure.Percent(left.Div(left, big.NewInt(int64(a.Length))).Int64())
	x.shares = append(x.shares,
		told{part: a.Part, kind: "share left between two readings", where: b.Where, share: share},
		told{part: a.Part, kind: "loss between two readings", where: b.Where, share: 100*measure.OnePercent - share})
}

// in finds the measurements and shares of a text that a reading equals.
func (x readingIndex) in(p plain, parts []string, anyPart bool) []Finding {
	if len(x.lengths)+len(x.shares) == 0 {
		return nil
	}
	about := func(t told) bool { return anyPart || t.part == "" || slices.Contains(parts, t.part) }
	var found []Finding
	add := func(t told, at span) {
		found = append(found, Finding{Code: CodeNumber, Kind: t.kind, Where: t.where, Start: at.from, End: at.to, Shown: numberHint(p.text[at.from:at.to])})
	}
	for _, f := range lengthsIn(p) {
		from := sort.Search(len(x.lengths), func(i int) bool { return x.lengths[i].length >= f.Length-f.Tolerance })
		for i := from; i < len(x.lengths) && f.Covers(x.lengths[i].length); i++ {
			if about(x.lengths[i]) {
				add(x.lengths[i], span{from: f.Start, to: f.End})
				break
			}
		}
	}
	for _, f := range sharesIn(p) {
		inWords := !strings.ContainsAny(f.Written, "0123456789¼½¾⅓⅔⅛")
		from := sort.Search(len(x.shares), func(i int) bool { return x.shares[i].share >= f.Percent-f.Tolerance })
		for i := from; i < len(x.shares) && f.Covers(x.shares[i].share); i++ {
			if about(x.shares[i]) && (!x.shares[i].rest || p.saysLeft(f.End)) && (!anyPart || !inWords || x.shares[i].part == "") { // "half the team" is about no part in particular
				add(x.shares[i], span{from: f.Start, to: f.End})
				break
			}
		}
	}
	return found
}

// saysLeft reports whether the words after a share say that it was left.
func (p plain) saysLeft(end int) bool { return left.MatchString(p.text[end:min(len(p.text), end+48)]) }

var left = regexp.MustCompile(`(?i)^(?:\s+[\pL]+){0,5}?\s+(?:left|remain(?:s|ed|ing)?|survive[sd]?|intact|sound)\b`)

// cost is a sum of money in thousandths of its currency; the currency may not
// be known.
type cost struct {
	thousandths int64
	currency    string
	where       string
}

var (
	amount     = `([0-9]{1,3}(?:[. '][0-9]{3})+,[0-9]{2}|[0-9]{1,3}(?:[, '][0-9]{3})+(?:\.[0-9]{1,3})?|[0-9]+(?:[.,·][0-9]{1,4})?)`
	scale      = `(?:\s?(k|K|m|M|million|thousand|grand)\b)?`
	moneyFirst = regexp.MustCompile(`(£|€|\$|\b(?i:GBP|EUR|USD|CHF|SEK|NOK|DKK|CAD|AUD|NZD|JPY|PLN))\s{0,2}` + amount + scale)
	moneyLast  = regexp.MustCompile(`\b` + amount + scale + `\s{0,2}(£|€|\$|(?i:GBP|EUR|USD|CHF|SEK|NOK|DKK|CAD|AUD|NZD|JPY|PLN|pounds?|quid|sterling|euros?|dollars?|pence|p)\b)(?:(?:\s|,|and)*([0-9]{1,2})\s?(?:p|pence|c|cents?)?\b)?`)
	// pointedMoney: "12.400 €" as it is written on the Continent.
	pointedMoney = regexp.MustCompile(`(£|€|\$|\b(?i:GBP|EUR|USD|CHF))\s{0,2}([0-9]{1,3}(?:\.[0-9]{3})+)\b|\b([0-9]{1,3}(?:\.[0-9]{3})+)(?:,-{1,2})?\s{0,2}(£|€|\$|(?i:GBP|EUR|USD|CHF|euros?)\b)`)
	bareMoney    = regexp.MustCompile(`\b([0-9]{1,3}(?:[, ][0-9]{3})+(?:\.[0-9]{2})?|[0-9]+[.][0-9]{2}|[0-9]{3,7}|[0-9]+(?:\.[0-9]+)?(k))\b`)
	thousands    = regexp.MustCompile(`\b([0-9]+(?:\.[0-9]{1,3})?)\s?(grand\b|k\b)|\b([0-9]{3,6}\.[0-9]{2})\b`)
	anyFigure    = regexp.MustCompile(`[0-9]{1,3}(?:[, ][0-9]{3})+(?:\.[0-9]{1,3})?|[0-9]+(?:[.,][0-9]{1,3})?`)
	moneyWords   = regexp.MustCompile(`(?i)\b(cost|costs|costing|paid|pay|price|priced|bill|billed|invoice|invoiced|spent|spend|charge|charged|quote|quoted|came to|come to|worth|total|totalled|fee|cheque|budget|budgeted|sum|receipt|estimate|estimated|value|valued|grant|donation|deposit|owe|owed|raised|set us back|handed over|parted with|sold for|bought for)\b[^.!?\n0-9]{0,30}$`)
)

// currencies are the words and codes that moneyFirst and moneyLast know.
var currencies = []string{"gbp", "eur", "usd", "chf", "sek", "nok", "dkk", "cad", "aud", "nzd", "jpy", "pln", "pound", "pounds", "quid", "sterling", "euro", "euros", "dollar", "dollars", "pence", "p"}

func currencyOf(s string) string {
	switch strings.ToLower(s) {
	case "£", "gbp", "pound", "pounds", "quid", "sterling":
		return "GBP"
	case "€", "eur", "euro", "euros":
		return "EUR"
	case "$", "usd", "dollar", "dollars":
		return "USD"
	}
	return strings.ToUpper(s)
}

// sum is an amount in a text, with half a unit of its last digit.
type sum struct {
	start, end  int
	thousandths int64
	tolerance   int64
	currency    string
}

// parseAmount reads figures with a decimal point or comma.
func parseAmount(s, scale string) (thousandths, tolerance int64, ok bool) {
	s = strings.NewReplacer("·", ".", "'", "").Replace(s)
	if i := strings.LastIndexByte(s, ','); i > 0 && strings.Contains(s[:i], ".") {
		s = strings.ReplaceAll(s[:i], ".", "") + "." + s[i+1:] // "4.180,00"
	}
	if i := strings.LastIndexAny(s, ".,"); i >= 0 && len(s)-i-1 != 3 {
		s = strings.NewReplacer(",", "", " ", "").Replace(s[:i]) + "." + s[i+1:]
	} else if i >= 0 && s[i] == ',' || strings.Contains(s, " ") {
		s = strings.NewReplacer(",", "", " ", "").Replace(s)
	}
	whole, part, _ := strings.Cut(s, ".")
	if len(whole) > 12 || len(part) > 3 && scale == "" {
		return 0, 0, false
	}
	unit := int64(1000)
	switch strings.ToLower(scale) {
	case "k", "thousand", "grand":
		unit = 1_000_000
	case "m", "million":
		unit = 1_000_000_000
	}
	step := unit
	for range len(part) {
		step /= 10
	}
	n := int64(0)
	for _, d := range whole + part {
		n = n*10 + int64(d-'0')
	}
	if n > 1<<62/step {
		return 0, 0, false
	}
	return n * step, step / 2, true
}

// sums finds amounts of money in figures.
func sums(text string) []sum {
	var all []sum
	for _, m := range moneyFirst.FindAllStringSubmatchIndex(text, -1) {
		if t, tol, ok := parseAmount(text[m[4]:m[5]], group(text, m, 3)); ok {
			all = append(all, sum{m[0], m[1], t, tol, currencyOf(text[m[2]:m[3]])})
		}
	}
	for _, m := range moneyLast.FindAllStringSubmatchIndex(text, -1) {
		t, tol, ok := parseAmount(text[m[2]:m[3]], group(text, m, 2))
		if !ok || isWeight(text[m[7]:]) {
			continue
		}
		end := m[7]
		if pence := group(text, m, 4); len(pence) > 0 && tol == 500 {
			if p, _, ok := parseAmount(pence, ""); ok {
				t, tol, end = t+p/100, 5, m[1]
			}
		}
		currency := currencyOf(text[m[6]:m[7]])
		if currency == "P" || currency == "PENCE" {
			t, tol, currency = t/100, tol/100, "GBP"
		}
		all = append(all, sum{m[0], end, t, tol, currency})
	}
	for _, m := range pointedMoney.FindAllStringSubmatchIndex(text, -1) {
		figure, currency := group(text, m, 2)+group(text, m, 3), group(text, m, 1)+group(text, m, 4)
		if t, tol, ok := parseAmount(strings.ReplaceAll(figure, ".", ""), ""); ok {
			all = append(all, sum{m[0], m[1], t, tol, currencyOf(currency)})
		}
	}
	return all
}

// isWeight: "58 pounds of lead" cost nothing yet.
func isWeight(rest string) bool {
	of, ok := strings.CutPrefix(rest, " of ")
	if !ok {
		return strings.HasPrefix(rest, " in weight")
	}
	what := pieces(of[:min(len(of), 24)])
	return len(what) > 0 && howCommon(what[0].text) != link // "of our own money"
}

func group(text string, m []int, n int) string {
	if m[2*n] < 0 {
		return ""
	}
	return text[m[2*n]:m[2*n+1]]
}

// costs are the sums of a private value: "GBP 412.50", "£412.50 + VAT", "412.50".
// A figure without a currency has that of its kind, if it names one.
func (v *privateValue) costs() []cost {
	var all []cost
	for _, s := range v.sums() {
		all = append(all, cost{s.thousandths, s.currency, v.Where})
	}
	if len(all) > 0 {
		return all
	}
	for _, figure := range anyFigure.FindAllString(v.plain.text, -1) {
		if t, _, ok := parseAmount(figure, ""); ok {
			all = append(all, cost{t, v.sense.currency, v.Where})
		}
	}
	return all
}

// plainSums are the sums of a text, in figures and in words.
func plainSums(p plain) []sum {
	all := spokenSums(p)
	if strings.ContainsAny(p.text, "£€$") || p.has(currencies...) {
		all = append(all, sums(p.text)...)
	}
	return all
}

// furtherSums are those that have to be written in another way first.
func furtherSums(p plain) []sum {
	var all []sum
	for _, q := range waysToPay(p) {
		for _, s := range append(sums(q.text), bareSums(q.text)...) {
			s.start, s.end = q.source(s.start, s.end)
			all = append(all, s)
		}
	}
	return all
}

var moneyRestatements = []restatement{
	{regexp.MustCompile(`([0-9])[.,](?:-{1,2}|=)([^0-9]|$)`), "$1 $2"}, // "240,- €"
	{regexp.MustCompile("(^|[^\\pL\\pN])[*_`~]{1,3}([\\pL\\pN])"), "$1$2"},
	{regexp.MustCompile("([\\pL\\pN])[*_`~]{1,3}([^\\pL\\pN]|$)"), "$1$2"},
	{regexp.MustCompile(`([£€$]\s?[0-9.,]*)[lI|]([0-9.,]*[0-9])`), "${1}1$2"},
	{regexp.MustCompile(`([£€$]\s?[0-9.,]*)[oO]([0-9.,]*)\b`), "${1}0$2"},
	{regexp.MustCompile(`([£€$]\s?[0-9.,]*[0-9])[oO]\b`), "${1}0"},
	{regexp.MustCompile(`(?i)\b(?:UKP|STG)\b`), "GBP"},
	{regexp.MustCompile(`(?i)\b(?:US|U\.S\.|American) dollars?\b`), "USD"},
	// from memory: German, French and Welsh
	{regexp.MustCompile(`(?i)([0-9])\s?(?:franken|sfr\b|francs? suisses?)`), "$1 CHF"},
	{regexp.MustCompile(`(?i)\bs?fr\.\s?([0-9])`), "CHF $1"},
	{regexp.MustCompile(`(?i)([0-9])\s?ewros?\b`), "$1 euros"},
	{regexp.MustCompile(`(?i)([0-9])\s?(?:pfund|punt|o bunnoedd|livres? sterling)\b`), "$1 pounds"},
	{regexp.MustCompile(`(?i)\ba thousand\b`), "1 thousand"},
	{regexp.MustCompile(`(?i)\ba grand( (?:and|in|for|on|to|all|less|more|or|each|by|at)\b|[.,;!?)]|$)`), "1 grand$1"},
	{regexp.MustCompile(`(?i)\ba couple of (?:grand|thousand)\b`), "2 grand"},
	{regexp.MustCompile(`([0-9])\s?(?:¼|and a quarter|1/4)`), "$1.25"},
	{regexp.MustCompile(`([0-9])\s?(?:½|and a half|1/2)`), "$1.5"},
	{regexp.MustCompile(`([0-9])\s?(?:¾|and (?:3|three)[ -]quarters|3/4)`), "$1.75"},
	{regexp.MustCompile(`(?i)\b([0-9]) grand and a quarter`), "$1.25 grand"},
	{regexp.MustCompile(`(?i)\b([0-9]) grand and a half`), "$1.5 grand"},
}

// waysToPay are other ways to write down a text that speaks of money: with signs
// put right, and with its number words as figures in each way that they can be
// meant.
func waysToPay(p plain) []plain {
	if !speaksOfMoney(p) {
		return nil
	}
	all := []plain{p.itself()}
	whole, parted := rowsInFigures(p)
	if whole != nil {
		all = append(all, p.itself().with(whole))
	}
	if parted != nil {
		all = append(all, p.itself().with(parted))
	}
	for i, q := range all {
		if r := restated(q, moneyRestatements); r != nil {
			all[i] = *r
		} else if i == 0 {
			all[0] = p.itself()
		}
	}
	return all
}

// speaksOfMoney: a text without any of these has no sums but those in plain
// figures with a currency.
func speaksOfMoney(p plain) bool {
	if strings.ContainsAny(p.text, "£€$") {
		return true
	}
	for i, piece := range p.pieces {
		if isMoneyWord(piece.text) {
			return true
		}
		// "412.50" by itself
		if piece.digits && len(piece.text) > 2 && i+1 < len(p.pieces) && p.pieces[i+1].digits && len(p.pieces[i+1].text) == 2 && p.text[piece.end:p.pieces[i+1].start] == "." {
			return true
		}
	}
	return false
}

func isMoneyWord(s string) bool {
	switch s {
	case "cost", "costs", "costing", "paid", "pay", "price", "priced", "bill", "billed", "invoice", "invoiced", "spent", "spend", "charge", "charged", "quote", "quoted", "came", "come", "worth", "total", "totalled", "fee", "cheque",
		"budget", "budgeted", "sum", "receipt", "estimate", "estimated", "value", "valued", "grant", "donation", "deposit", "owe", "owed", "raised", "set", "handed", "parted", "sold", "bought",
		"grand", "k", "franken", "sfr", "fr", "francs", "ewro", "ewros", "pfund", "punt", "bunnoedd", "livres", "ukp", "stg", "gbp", "eur", "usd", "chf", "sek", "nok", "dkk", "cad", "aud", "nzd", "jpy", "pln", "pound", "pounds", "quid", "sterling", "euro", "euros", "dollar", "dollars", "pence", "p":
		return true
	}
	return false
}

// rowsInFigures writes rows of number words as one number: "twelve fifty" as 1250
// and, where it may be pounds and pence, as 12.50.
func rowsInFigures(p plain) (whole, parted []span) {
	if p.spoken == nil {
		return nil, nil
	}
	for i := 0; i < len(p.pieces); i++ {
		first, after := cardinal(p.pieces, i)
		figure, next := sayDecimal(p.pieces, i)
		if next == i {
			continue
		}
		at := span{p.pieces[i].start, p.pieces[next-1].end, figure}
		whole = append(whole, at)
		if n := len(figure); after > i && after < next && n > len(first) && n-2 > 0 && !strings.Contains(figure, ".") {
			at.plainly = figure[:n-2] + "." + figure[n-2:]
			parted = append(parted, at)
		}
		i = next - 1
	}
	return whole, parted
}

// bareSums are numbers without a currency that the words before them, or the way
// that they are written, make into sums.
func bareSums(text string) []sum {
	var all []sum
	for _, m := range bareMoney.FindAllStringSubmatchIndex(text, -1) {
		figure := strings.TrimSuffix(text[m[2]:m[3]], "k")
		t, _, ok := parseAmount(figure, group(text, m, 2))
		before := text[max(0, m[0]-wordsBefore):m[0]]
		if ok && moneyWords.MatchString(before) && !touchesCurrency(text, m[0], m[1]) && !unitFollows(text[m[1]:]) && !isYearAfter(figure, before) {
			all = append(all, sum{m[0], m[1], t, 0, ""})
		}
	}
	for _, m := range thousands.FindAllStringSubmatchIndex(text, -1) {
		scale, figure := group(text, m, 2), group(text, m, 1)
		switch {
		case scale == "":
			figure = group(text, m, 3)
		case scale == "k" && !strings.Contains(figure, "."), scale == "grand" && !linkFollows(text[m[1]:]):
			continue // "a 5k run", "two grand pianos"
		}
		if t, _, ok := parseAmount(figure, scale); ok && !unitFollows(text[m[1]:]) && !touchesCurrency(text, m[0], m[1]) {
			all = append(all, sum{m[0], m[1], t, 0, ""})
		}
	}
	return all
}

var (
	currencyBefore = regexp.MustCompile(`(?:[£€$¥]|\b(?i:GBP|EUR|USD|CHF|SEK|NOK|DKK|CAD|AUD|NZD|JPY|PLN))\s{0,2}$`)
	currencyAfter  = regexp.MustCompile(`^\s{0,2}(?:[£€$¥%]|(?i:GBP|EUR|USD|CHF|SEK|NOK|DKK|CAD|AUD|NZD|JPY|PLN|euros?|dollars?)\b)`)
)

func touchesCurrency(text string, from, to int) bool {
	return currencyBefore.MatchString(text[max(0, from-6):from]) || currencyAfter.MatchString(text[to:])
}

// linkFollows reports whether a text goes on with a word that says nothing, or
// ends.
func linkFollows(rest string) bool {
	ps := pieces(rest[:min(len(rest), 24)])
	return len(ps) == 0 || strings.TrimSpace(rest[:ps[0].start]) != "" || howCommon(ps[0].text) == link
}

// isYearAfter: "the bill of 1834" is no sum.
func isYearAfter(figure, before string) bool {
	if len(figure) != 4 || figure < "1700" || figure > "2199" {
		return false
	}
	ps := pieces(before)
	if len(ps) == 0 {
		return false
	}
	switch ps[len(ps)-1].text {
	case "in", "of", "since", "by", "until", "from", "before", "after", "during", "about", "around", "between", "early", "late":
		return true
	}
	return false
}

// costsIn finds sums that equal a private cost.
func (x *Index) costsIn(p plain) []Finding {
	if len(x.costs) == 0 {
		return nil
	}
	text := p.text
	all := append(plainSums(p), furtherSums(p)...)
	var found []Finding
	for _, s := range all {
		const rounded = 80 // "£412" may be 412.50, "twelve pounds" is 12
		if s.thousandths < rounded*s.tolerance {
			s.tolerance = 0
		}
		from := sort.Search(len(x.costs), func(i int) bool { return x.costs[i].thousandths >= s.thousandths-s.tolerance })
		for _, c := range x.costs[from:] {
			if c.thousandths > s.thousandths+s.tolerance {
				break
			}
			if s.currency == "" || c.currency == "" || s.currency == c.currency {
				found = append(found, Finding{Code: CodeNumber, Kind: "cost", Where: c.where, Start: s.start, End: s.end, Shown: numberHint(text[s.start:s.end])})
				break
			}
		}
	}
	return found
}

const wordsBefore = 64 // bytes before a bare number in which "cost" is looked for

func unitFollows(rest string) bool {
	ps := pieces(rest[:min(len(rest), 16)])
	return len(ps) > 0 && strings.TrimSpace(rest[:ps[0].start]) == "" && ps[0].text != "in" && isCounted(ps[0].text)
}

// spokenSums finds amounts in words: "four hundred and twelve pounds fifty".
func spokenSums(p plain) []sum {
	if p.spoken == nil {
		return nil
	}
	ps := p.pieces
	var all []sum
	for i := 0; i < len(ps); i++ {
		digits, next := cardinal(ps, i)
		if next == i || next >= len(ps) {
			continue
		}
		var currency string
		switch ps[next].text {
		case "pound", "pounds", "quid":
			currency = "GBP"
		case "euro", "euros":
			currency = "EUR"
		case "dollar", "dollars":
			currency = "USD"
		default:
			i = next - 1
			continue
		}
		t, tol, ok := parseAmount(digits, "")
		if !ok || isWeight(p.text[ps[next].end:]) {
			continue
		}
		end := next
		at := next + 1
		if at < len(ps) && ps[at].text == "and" {
			at++
		}
		if pence, after := cardinal(ps, at); after > at && len(pence) <= 2 {
			if p, _, ok := parseAmount(pence, ""); ok {
				t, tol, end = t+p/100, 5, after-1
			}
		}
		all = append(all, sum{ps[i].start, ps[end].end, t, tol, currency})
		i = end
	}
	return all
}

// lengthsIn finds the measurements of a text, also those that package measure
// does not read as they stand.
func lengthsIn(p plain) []measure.Found {
	if !namesUnits(p) {
		return nil
	}
	all := measure.Find(p.text)
	for _, q := range waysToSay(p, lengthRestatements) {
		for _, f := range measure.Find(q.text) {
			f.Start, f.End = q.source(f.Start, f.End)
			all = append(all, f)
		}
	}
	for i := range all {
		all[i].Tolerance = openness(all[i])
	}
	if feet := feetIn(p); feet != nil {
		all = append(withoutParts(all, feet), feet...)
	}
	return slices.DeleteFunc(all, func(f measure.Found) bool { return weather.MatchString(p.text[f.End:min(len(p.text), f.End+16)]) })
}

// waysToSay are other ways to write down what stands near the measures of a text,
// with its number words as they are and in figures.
func waysToSay(p plain, as []restatement) []plain {
	var all []plain
	for _, near := range nearMeasures(p) {
		if q := restated(near, as); q != nil {
			all = append(all, *q)
		}
		if figures := inFigures(p, near); figures != nil {
			said := near.with(figures)
			if q := restated(said, as); q != nil {
				said = *q
			}
			all = append(all, said)
		}
	}
	return all
}

// weather: "6 mm of rain" is nothing to do with a part.
var weather = regexp.MustCompile(`(?i)^\s+of\s+(?:rain|snow|hail|ice|water|mud|sea)`)

// openness is what the digits of a measurement leave open. The noughts at the
// end of microns may be there for want of a smaller unit; "2 mm" is taken for 2.0,
// since a drill is as often spoken of as a rounded reading.
func openness(f measure.Found) measure.Length {
	const micron = measure.Micrometre
	switch f.Tolerance {
	case micron / 2:
		switch {
		case f.Length < 100*micron:
		case f.Length%(100*micron) == 0:
			return 50 * micron
		case f.Length%(10*micron) == 0:
			return 5 * micron
		}
	case measure.Millimetre / 2, 5 * measure.Millimetre, measure.Metre / 2, measure.Inch / 2, 6 * measure.Inch:
		if f.Length < 20*f.Tolerance {
			return f.Tolerance / 10
		}
	}
	return f.Tolerance
}

// sharesIn finds the shares of a text that may be of a part.
func sharesIn(p plain) []measure.FoundPercent {
	if !namesShares(p) {
		return nil
	}
	all := measure.FindPercents(p.text)
	for _, q := range waysToSay(p, shareRestatements) {
		for _, f := range measure.FindPercents(q.text) {
			f.Start, f.End = q.source(f.Start, f.End)
			all = append(all, f)
		}
	}
	return slices.DeleteFunc(all, func(f measure.FoundPercent) bool { return isOrdinal(f.Written) || isShareOfOther(p, f.End) })
}

// isOrdinal: "the third of her kind" is no share; "a third" and "one third" are.
func isOrdinal(s string) bool {
	switch strings.ToLower(s) {
	case "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "twelfth", "sixteenth", "twentieth", "hundredth", "thousandth":
		return true
	}
	return false
}

// isShareOfOther: "a quarter of the visitors", "25 % off", "half the time".
func isShareOfOther(p plain, end int) bool {
	const furthest = 5 // words
	from := sort.Search(len(p.pieces), func(i int) bool { return p.pieces[i].start >= end })
	for k := from - 1; k > 0 && k > from-12 && !strings.ContainsAny(p.text[p.pieces[k-1].end:p.pieces[k].start], ".!?;\n"); k-- {
		switch p.pieces[k-1].text {
		case "battery", "humidity", "forecast", "vote", "votes", "chance", "attendance", "turnout", "survey", "discount", "vat", "tax", "ticket", "tickets", "interest", "inflation", "budget", "donations", "fuel", "tank", "tide", "river", "wind", "rain", "sales", "costs", "prices":
			return true
		}
	}
	for k := from; k < min(from+furthest, len(p.pieces)); k++ {
		if strings.ContainsAny(p.text[max(end, p.pieces[max(0, k-1)].end):p.pieces[k].start], ".!?;:") {
			return false
		}
		switch w := p.pieces[k].text; w {
		case "of", "the", "our", "all", "those", "these", "its", "this", "that", "a", "an", "every", "each", "his", "her", "their", "my", "your", "who", "and", "on", "in", "more", "fewer", "extra", "der", "die", "des", "unserer", "aller", "de", "du", "les", "nos", "o", "a'n", "ein":
			continue
		case "off", "discount", "visitors", "visitor", "people", "members", "member", "team", "volunteers", "children", "guests", "crew", "us", "you", "men", "women", "adults", "families", "pupils", "school", "readers", "voters", "hands", "staff",
			"ticket", "tickets", "price", "prices", "money", "cost", "costs", "budget", "gifts", "gift", "income", "takings", "donations", "fund", "funds", "fee", "fees", "bill", "vat", "tax", "rent", "sales", "profit", "proceeds",
			"time", "year", "day", "days", "week", "weeks", "month", "months", "season", "hour", "hours", "morning", "evening", "weekend", "questions", "tea", "cake", "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december", "seats", "chance", "humidity", "letters", "emails", "world", "country", "story",
			"stories", "tour", "tours", "hangar", "town", "village", "rain", "interest", "job", "jobs", "target", "appeal", "way", "journey", "route", "votes", "rivets", "pages", "page", "shop", "stalls", "parking",
			"besucher", "mitglieder", "gäste", "kinder", "visiteurs", "membres", "gens", "ymwelwyr", "aelodau", "bobl", "plant":
			return true
		case "floor", "work", "battery": // and not "of the floor panel"
			return k+1 == len(p.pieces) || howCommon(p.pieces[k+1].text) == link || strings.TrimSpace(p.text[p.pieces[k].end:p.pieces[k+1].start]) != ""
		default:
			if k == from+1 && p.pieces[from].text == "of" && len(w) > 3 && strings.HasSuffix(w, "s") && !strings.HasSuffix(w, "ss") {
				return true // "of boats", and not "of the ribs"
			}
			if !strings.HasSuffix(w, "er") && !strings.HasSuffix(w, "est") { // "a quarter of the older visitors"
				return false
			}
		}
	}
	return false
}
