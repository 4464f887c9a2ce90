package leak

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

var (
	email = regexp.MustCompile(`[\pL\pN._%+'-]*[\pL\pN]\s?@\s?[\pL\pN-]+(?:(?:\.|\s\.\s)[\pL\pN-]+)*(?:\.|\s\.\s)[\pL]{2,}`)
	// "name [at] domain.org", "name@domain dot org": a sign or brackets leave no
	// doubt.
	bracketed = regexp.MustCompile(`(?i)([\pL\pN._%+'-]*[\pL\pN])\s{0,2}(?:@|[\[({<]\s?(?:at|@|a|ät|at[ -]?sign|arobase)\s?[\])}>])\s{0,2}([\pL\pN-]+(?:(?:\s{0,2}[\[({<]\s?(?:dot|\.)\s?[\])}>]\s{0,2}|\.|\s\.\s|\sdot\s)[\pL\pN-]+)+)`)
	// "name at domain dot org", written out.
	writtenOut = regexp.MustCompile(`(?i)((?:[\pL\pN._+'-]+\s+dot\s+){0,2}[\pL\pN._+']*[\pL\pN])[\s_-]+at(?:[\s-]sign)?[\s_-]+([\pL\pN]+(?:[\s_-]+dot[\s_-]+[\pL\pN]+)*[\s_-]+dot[\s_-]+([\pL]{2,}))\b`)
	// "Write to name at domain.org": only after a word for writing, since one may
	// also look at domain.org.
	writeTo = regexp.MustCompile(`(?i)\b(?:e-?mail|mail|write to|contact|reach|address)\b[^.!?\n]{0,24}?\s([\pL\pN._+'-]+)\s+at\s+([\pL\pN-]+(?:\.[\pL\pN-]+)+)\b`)

	// BS 7666 as published in the Cabinet Office's XML schema, its character
	// class subtractions written out for RE2. Each alternative is bound at both
	// ends, which the bulk transfer expression on GOV.UK is not. BFPO numbers
	// beside it.
	postcode = regexp.MustCompile(`(?i)(GIR[\s.-]{0,2}0AA|BFPO[\s.-]{0,2}[0-9]{1,4}|` +
		`(?:[A-PR-UWYZ](?:[0-9][0-9]?|[A-HK-Y][0-9][0-9]?|[0-9][A-HJKSTUW]|[A-HK-Y][0-9][ABEHMNPRVWXY]))[\s.-]{0,3}[0-9][\s.-]{0,1}[ABD-HJLNP-UW-Z]{2})`)

	// A telephone number: + or 0, and figures with the usual marks between.
	telephone = regexp.MustCompile(`(?:\+\s?|\(\s?\+\s?|\(?\b0)[0-9](?:[\s().\-/_]{0,3}[0-9]){6,16}`)
	american  = regexp.MustCompile(`(?:\(\s?[2-9][0-9]{2}\s?\)\s?|\b[2-9][0-9]{2}[ .-])[2-9][0-9]{2}[ .-][0-9]{4}\b`)
	rung      = regexp.MustCompile(`(?i)\b(?:ring|rang|tel|telephone|phone|phoned|mobile|mob|call|fax|ext|extension)\b(?:[\s.:()#]|\b(?:us|me|him|her|them|the|office|hangar|desk|shop|on|at|is|was|no|number|now|today|or|line)\b){0,10}?([0-9](?:[ -]?[0-9]){4,11})\b`)
	extension = regexp.MustCompile(`^(?i:x|ext)\s?[0-9]`)
	decimal   = regexp.MustCompile(`^0\.[0-9]+$`)
	dated     = regexp.MustCompile(`^[0-9]{1,2}[./-][0-9]{1,2}[./-](?:[0-9]{2}){1,2}(?:[^0-9]|$)`)
)

// contactsIn finds email addresses, postal codes and telephone numbers by their
// form, whoever they belong to.
func (x *Index) contactsIn(p plain) []Finding {
	var found []Finding
	add := func(kind string, start, end int, plainly string) {
		if shown := p.text[start:end]; !x.allowed(shown) && !x.allowed(plainly) && !x.credited.tellsContact(formOf(kind, plainly), plainly) {
			found = append(found, Finding{Code: CodeCall, Kind: kind, Start: start, End: end, Shown: hint(shown)})
		}
	}
	emails := emailsIn(p)
	for _, s := range emails {
		add(KindEmail, s.from, s.to, s.plainly)
	}
	for _, a := range x.addresses {
		for _, m := range a.pattern.FindAllStringIndex(p.text, -1) {
			if !covered(emails, m[0]) && !strings.Contains(p.text[m[0]:m[1]], ", at ") { // "Kim, at example.org you will find it"
				add(a.kind, m[0], m[1], a.plainly)
			}
		}
	}
	for _, s := range postcodesIn(p) {
		add(KindPostcode, s.from, s.to, s.plainly)
	}
	for _, s := range telephonesIn(p) {
		add(KindTelephone, s.from, s.to, s.plainly)
	}
	return found
}

// formOf is the kind by which a contact is compared; a private value has its own.
func formOf(kind, plainly string) string {
	if strings.Contains(plainly, "@") {
		return KindEmail
	}
	return kind
}

// address is a private email address in any spelling of its two signs.
type address struct {
	pattern       *regexp.Regexp
	kind, plainly string
}

// addressesOf are the addresses of a private value. A pattern of their words is
// exact enough for whatever stands between.
func addressesOf(v Value) []address {
	var all []address
	for _, s := range emailsIn(readPlain(v.Value)) {
		name, domain, _ := strings.Cut(s.plainly, "@")
		const between = `[^\pL\pN]*(?:(?:dot|point|punkt|stop)\b)?[^\pL\pN]*`
		words := func(s string) string {
			var all []string
			for _, p := range piecesOf(s) {
				all = append(all, regexp.QuoteMeta(p.text))
			}
			return strings.Join(all, between)
		}
		pattern, err := regexp.Compile(`(?i)\b` + words(name) + `\b[^.!?\n]{1,24}?\b` + words(domain) + `\b`)
		if err == nil {
			all = append(all, address{pattern, v.Kind, s.plainly})
		}
	}
	return all
}

func readPlain(s string) plain {
	p := fold(s)[0]
	p.read()
	return p
}

// span is a place in a folded text, and what stands there in its usual form.
type span struct {
	from, to int
	plainly  string
}

var noSpace = strings.NewReplacer(" ", "", "\n", "", "\t", "", "\r", "")

func emailsIn(p plain) []span {
	var all []span
	text := p.text
	if strings.Contains(text, "@") {
		for _, m := range email.FindAllStringIndex(text, -1) {
			all = append(all, span{m[0], m[1], noSpace.Replace(text[m[0]:m[1]])})
		}
	}
	for _, m := range writeTo.FindAllStringSubmatchIndex(text, -1) {
		if name := text[m[2]:m[3]]; p.has("at") && !isVerbBeforeAt(strings.ToLower(name)) {
			all = append(all, span{m[2], m[5], name + "@" + text[m[4]:m[5]]})
		}
	}
	if !strings.ContainsAny(text, "[({<") && !p.has("dot") {
		return all
	}
	for _, m := range bracketed.FindAllStringSubmatchIndex(text, -1) {
		all = append(all, span{m[0], m[1], text[m[2]:m[3]] + "@" + plainDomain(text[m[4]:m[5]])})
	}
	for _, m := range writtenOut.FindAllStringSubmatchIndex(text, -1) {
		name := text[m[2]:m[3]]
		if !isVerbBeforeAt(strings.ToLower(name)) {
			all = append(all, span{m[0], m[1], plainDomain(name) + "@" + plainDomain(text[m[4]:m[5]])})
		}
	}
	return all
}

var marksOfDot = regexp.MustCompile(`(?i)\s*[\[({<]?\s*(?:\bdot\b|\.)\s*[\])}>]?\s*`)

func plainDomain(s string) string { return marksOfDot.ReplaceAllString(s, ".") }

// isVerbBeforeAt: "look at example dot org" sends nobody a letter.
func isVerbBeforeAt(s string) bool {
	switch s {
	case "look", "looked", "see", "find", "us", "me", "them", "it", "is", "are", "be", "was", "found", "page", "pages", "site", "online", "website", "web", "more", "read", "details", "here", "visit", "join", "booked", "book",
		"tickets", "shop", "and", "that", "this", "all", "live", "listed", "published", "available", "begin", "start", "sign", "up", "again", "out", "dates", "times", "map", "archive", "pictures", "photos", "stories":
		return true
	}
	return false
}

// mayHavePostcode: a figure and two letters, a BFPO number, or letters and figures
// one by one.
func mayHavePostcode(p plain) bool {
	single := 0
	for i, piece := range p.pieces {
		if len(piece.text) == 1 {
			if single++; single >= 5 {
				return true
			}
		} else {
			single = 0
		}
		if piece.text == "bfpo" || len(piece.text) == 2 && !piece.digits && i > 0 && p.pieces[i-1].digits && piece.start-p.pieces[i-1].end < 2 {
			return true
		}
	}
	return false
}

// mayHaveTelephone: five figures or more with nothing but marks between.
func mayHaveTelephone(p plain) bool {
	const shortest = 5
	figures := 0
	for i, piece := range p.pieces {
		switch {
		case !piece.digits:
			figures = 0
			continue
		case i > 0 && piece.start-p.pieces[i-1].end > 4:
			figures = 0
		}
		if figures += len(piece.text); figures >= shortest {
			return true
		}
	}
	return false
}

func postcodesIn(p plain) []span {
	var all []span
	text := p.text
	if !p.digits || !mayHavePostcode(p) {
		return nil
	}
	for _, m := range postcode.FindAllStringIndex(text, -1) {
		code := text[m[0]:m[1]]
		if inRun(text, m[0], m[1]) || !looksLikePostcode(code) {
			continue
		}
		all = append(all, span{m[0], m[1], code})
	}
	for _, s := range spacedOut(text) {
		if m := postcode.FindString(s.plainly); m != "" && m == s.plainly {
			all = append(all, s)
		}
	}
	return all
}

// inRun reports whether letters or figures touch a span.
func inRun(text string, from, to int) bool {
	return from > 0 && isWordByte(text[from-1]) || to < len(text) && isWordByte(text[to])
}

func isWordByte(b byte) bool {
	return b >= '0' && b <= '9' || b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= 0x80 || b == '_'
}

// looksLikePostcode tells a postal code from "M25 1st exit" and "A4 2up": its
// last two letters are capitals, or it begins with two letters, or its last two
// are not an ending of their own.
func looksLikePostcode(code string) bool {
	end := code[len(code)-2:]
	if strings.ToUpper(end) == end || code[1] > '9' {
		return len(code) > 5
	}
	switch strings.ToLower(end) {
	case "st", "nd", "rd", "th", "ft", "lb", "yd", "hr", "up", "pt", "pp", "sq", "by", "at", "as", "us", "we", "he", "be", "an", "ll", "ed", "es", "er", "ns", "hz", "wd", "ga", "gs", "ls", "ps":
		return false
	}
	return len(code) > 5
}

// spacedOut are runs of five or more single characters with one space between:
// "D N 5 5 1 P T".
func spacedOut(text string) []span {
	var all []span
	ps := strings.Split(text, " ")
	at := 0
	for i := 0; i < len(ps); {
		j, end := i, at
		for j < len(ps) && len(strings.TrimRight(ps[j], ".,")) == 1 && isWordByte(ps[j][0]) {
			end += len(ps[j]) + 1
			j++
		}
		if j-i >= 5 {
			whole := strings.TrimRight(text[at:end-1], ".,")
			all = append(all, span{at, at + len(whole), noSpace.Replace(whole)})
		}
		if j == i {
			end += len(ps[i]) + 1
			j++
		}
		i, at = j, end
	}
	return all
}

// telephonesIn finds numbers that may be dialled. What counts is how many
// figures a number has, not whether it has been given out: the numbers that
// Ofcom keeps for drama have not.
func telephonesIn(p plain) []span {
	all := saidTelephones(p)
	text := p.text
	if !p.digits || !mayHaveTelephone(p) {
		return all
	}
	for _, m := range telephone.FindAllStringIndex(text, -1) {
		if s, ok := asTelephone(text, m[0], m[1]); ok {
			all = append(all, s)
		}
	}
	for _, m := range american.FindAllStringIndex(text, -1) {
		if !inRun(text, m[0], m[1]) && !covered(all, m[0]) {
			all = append(all, span{m[0], m[1], text[m[0]:m[1]]})
		}
	}
	if !p.has("ring", "rang", "tel", "telephone", "phone", "phoned", "mobile", "mob", "call", "fax", "ext", "extension") {
		return all
	}
	for _, m := range rung.FindAllStringSubmatchIndex(text, -1) {
		if !covered(all, m[2]) && !inRun(text, m[2], m[3]) && mayBeRung(text[m[2]:m[3]]) && !unitFollows(text[m[3]:]) {
			all = append(all, span{m[2], m[3], text[m[2]:m[3]]})
		}
	}
	return all
}

// mayBeRung tells a local number from a time ("10 30 15"), a row of counts and a
// span of years.
func mayBeRung(s string) bool {
	groups := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '-' })
	longest, years := 0, len(groups) == 2
	for _, g := range groups {
		if len(g) == 1 && len(groups) < 5 {
			return false
		}
		longest = max(longest, len(g))
		years = years && len(g) == 4 && (strings.HasPrefix(g, "1") || strings.HasPrefix(g, "20"))
	}
	return !years && (longest > 2 || len(groups) >= 4)
}

func covered(all []span, at int) bool {
	return slices.ContainsFunc(all, func(s span) bool { return s.from <= at && at < s.to })
}

const (
	shortestNational, longestNational           = 10, 11 // figures of a British number, its 0 included
	shortestInternational, longestInternational = 8, 15  // E.164, with the country code
)

func asTelephone(text string, from, to int) (span, bool) {
	s := text[from:to]
	if from > 0 && (isWordByte(text[from-1]) || strings.ContainsRune("-/£$€", rune(text[from-1]))) || to < len(text) && isWordByte(text[to]) && !extension.MatchString(text[to:]) {
		return span{}, false
	}
	if from > 1 && strings.ContainsRune(".:,", rune(text[from-1])) && isWordByte(text[from-2]) && (text[from-1] != ':' || isDigit(text[from-2])) {
		return span{}, false // a time or a longer number, and not "tel:0..."
	}
	if decimal.MatchString(s) || dated.MatchString(s) || strings.Contains(s, "\n\n") {
		return span{}, false
	}
	digits := strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
	n := len(digits)
	international := strings.Contains(s, "+")
	if rest, ok := strings.CutPrefix(digits, "00"); ok && !international {
		international, n = true, len(rest)
	}
	if international {
		return span{from, to, s}, n >= shortestInternational && n <= longestInternational+1 // "+44 (0)1632 …"
	}
	return span{from, to, s}, n >= shortestNational && n <= longestNational
}

// saidTelephones are numbers in words: "oh one six three two …".
func saidTelephones(p plain) []span {
	var all []span
	for i := 0; i < len(p.spoken); i++ {
		first := i
		digits, said := "", 0
		for ; i < len(p.spoken) && p.spoken[i].digits; i++ {
			if i > first && len(strings.TrimSpace(p.text[p.spoken[i-1].end:p.spoken[i].start])) > 1 {
				break
			}
			digits, said = digits+p.spoken[i].text, said+p.spoken[i].spoken
		}
		if said == 0 {
			continue
		}
		national := strings.HasPrefix(digits, "0") && len(digits) >= shortestNational && len(digits) <= longestNational
		digits, abroad := strings.CutPrefix(digits, "00")
		international := abroad && len(digits) >= shortestInternational && len(digits) <= longestInternational || first > 0 && p.spoken[first-1].text == "plus" && len(digits) >= shortestInternational && len(digits) <= longestInternational
		if national || international {
			from, to := p.spoken[first].start, p.spoken[i-1].end
			if !national {
				digits = "+" + digits
			}
			all = append(all, span{from, to, digits})
		}
	}
	return all
}
