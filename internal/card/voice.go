package card

import (
	"cmp"
	"errors"
	"io/fs"

	"example.org/opencowl/internal/cleared"
	"example.org/opencowl/internal/tongue"
)

// voices is what the cards of one file say of themselves, by language.
type voices struct {
	asked string
	of    map[string]*tongue.Words // nil for a language that has none
	theme fs.FS
}

// readVoices reads the words of the language that is asked for; "" is the workshop's.
func readVoices(s cleared.Settings, o Options) (*voices, error) {
	v := &voices{asked: cmp.Or(o.Language, s.Language()), of: map[string]*tongue.Words{}, theme: o.Theme}
	words, err := tongue.Read(o.Theme, v.asked)
	v.of[v.asked] = words
	return v, err
}

// learn reads the words of a story's language, which may have none.
func (v *voices) learn(language string) error {
	if _, known := v.of[language]; known || language == "" {
		return nil
	}
	words, err := tongue.Read(v.theme, language)
	v.of[language] = words
	if errors.Is(err, tongue.ErrNoWords) {
		return nil
	}
	return err
}

// learnAll reads the words of all stories of a tour.
func (v *voices) learnAll(t cleared.Tour) error {
	for _, stop := range t.Stops() {
		for _, story := range stop.Stories() {
			if err := v.learn(story.Language()); err != nil {
				return err
			}
		}
	}
	return nil
}

// own is the voice of the language that is asked for.
func (v *voices) own() voice { return voice{v.asked, v.of[v.asked]} }

// in is the voice of a language, or that of the one asked for where it has none.
func (v *voices) in(language string) voice {
	if words := v.of[language]; words != nil {
		return voice{language, words}
	}
	return v.own()
}

// voice is in what language a card says its own words.
type voice struct {
	labels string
	words  *tongue.Words
}

// inWords is a list of hazards in the words of this voice.
func (v voice) inWords(cautions []cleared.Caution) []cleared.Caution {
	var all []cleared.Caution
	for _, c := range cautions {
		if words, ok := v.words.Caution(c.Key); ok {
			c.Label, c.Advice = words.Label, words.Advice
		}
		all = append(all, c)
	}
	return all
}
