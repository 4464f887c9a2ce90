package wording

import "slices"

// CautionText is one caution in words.
type CautionText struct {
	Key    string // "sharp-edge"
	Label  string // "Sharp edges"
	Advice string // what a visitor or a guide does about it
}

// Caution returns the words of a caution.
func Caution(key string) (CautionText, bool) {
	all := cautionTexts()
	if i := slices.IndexFunc(all, func(c CautionText) bool { return c.Key == key }); i >= 0 {
		return all[i], true
	}
	return CautionText{}, false
}

// CautionKeys returns the keys of all cautions.
func CautionKeys() []string {
	var keys []string
	for _, c := range cautionTexts() {
		keys = append(keys, c.Key)
	}
	return keys
}

// Hazardous reports whether a prop with this caution may only be looked at.
func Hazardous(key string) bool {
	switch key {
	case "asbestos", "luminous-paint", "cadmium", "lead-paint", "chromate-primer", "explosive", "beryllium":
		return true
	}
	return false
}

// cautionTexts is the whole list. The advice is the usual one and names nobody
// as safe: the site's own rules and the people licensed for the work come
// first. Where no source is named it is common practice, no source.
func cautionTexts() []CautionText {
	return []CautionText{
		{"sharp-edge", "Sharp edges", "Keep fingers off the edges; hold it by the flat."},
		// Hazards in Collections (UK consortium site): gloves, leave dust alone,
		// extra controls for sanding. HSE, hse.gov.uk/lead: stripping old paint.
		{"lead-paint", "Old lead paint", "Look, do not touch. Leave the dust alone; only people trained for lead strip or sand it."},
		// HSE's leaflet on chromate primers: several of the pigments are
		// carcinogens; COSHH applies.
		{"chromate-primer", "Chromate primer", "Look, do not touch. Its dust may cause cancer; only people trained for it, under the site's own rules, sand or strip it."},
		// Hazards in Collections: name a duty holder, presume it present until
		// assessed, keep a register and a plan.
		{"asbestos", "Asbestos", "Stay back and do not touch. What may hold asbestos is treated as if it does until a qualified person has assessed it."},
		// Corrosion products of cadmium plate are toxic; no heating (weak source).
		{"cadmium", "Cadmium plating", "Look, do not touch. The powder that forms on it is poisonous, and so are its fumes when it is heated."},
		// Radiation Protection Today, 2022: luminous paint of that age is to be
		// presumed radioactive; IRR 2017 can apply to a room that holds it.
		{"luminous-paint", "Luminous paint", "Look, do not touch. Old glowing paint is taken to be radioactive; dials stay closed and are handled under the site's radiation rules."},
		{"swarf", "Metal cuttings", "Do not brush cuttings away by hand; keep to the path and keep eyes covered where the signs say so."},
		// HSE, HSG62: the title and contents deal with tyres and split rims.
		{"pressure", "Stored pressure", "Stand clear. Only people trained for it let the pressure out or take the part apart."},
		{"trip", "Trip hazard", "Watch your step; lift your feet over cables and frames."},
		{"head-height", "Low head height", "Mind your head; duck before you move."},
		{"fumes", "Fumes", "Stay out of the marked area; say at once if you feel unwell."},
		{"noise", "Loud noise", "Wear the ear protection that you are given; step away if it is too loud."},
		// Hazards that Reducing the Risk (Museum Development South West) lists
		// include stored energy, radiation and firearms; ejection seats and
		// cartridges from memory.
		{"explosive", "Explosive parts", "Stay back and do not touch. Only licensed people make such parts safe, and their word that they did stays with the part."},
		// From memory: the dust is the danger, not the whole part.
		{"beryllium", "Beryllium", "Look, do not touch. Its dust harms the lungs; it is never filed, drilled or sanded here."},
		{"propeller", "Propeller", "Stay outside the marked arc and never touch a blade. A propeller may turn without warning."},
		// Reducing the Risk: kinetic and stored energy.
		{"stored-energy", "Springs and weights", "Keep hands clear. A spring, cord or raised weight can let go; only trained people release it."},
		// AC 43.13-1B paragraph 6-90: cuttings light easily; smother them with a
		// dry powder. That water must not be used is from memory.
		{"magnesium", "Magnesium", "No flames or sparks here. Its cuttings catch fire easily, and water makes it worse; raise the alarm and leave it to trained people."},
		{"fuel", "Fuel", "No flames, sparks or phones in use past the line; follow the site's fire rules."},
		{"battery", "Batteries", "Do not touch. The acid burns and the terminals can spark; keep metal things away."},
	}
}
