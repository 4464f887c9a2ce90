package wording

// CautionKeys returns the keys of all cautions. What each says to a visitor and
// to the guide is in the theme, by language.
func CautionKeys() []string {
	return []string{
		"sharp-edge", "lead-paint", "chromate-primer", "asbestos", "cadmium", "luminous-paint", "swarf", "pressure", "trip", "head-height", "fumes", "noise",
		"explosive", "beryllium", "propeller", "stored-energy", "magnesium", "fuel", "battery",
	}
}

// Hazardous reports whether a prop with this caution may only be looked at.
func Hazardous(key string) bool {
	switch key {
	case "asbestos", "luminous-paint", "cadmium", "lead-paint", "chromate-primer", "explosive", "beryllium":
		return true
	}
	return false
}
