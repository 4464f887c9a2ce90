package clearance

import (
	"cmp"
	"regexp"
	"slices"
	"sync"

	"example.org/opencowl/internal/tongue"
	"example.org/opencowl/internal/wording"
)

// judgement is how one language says what only a licensed engineer may say, and
// what the record can contradict.
type judgement struct {
	assertion *regexp.Regexp // what is airworthy, certified or safe
	denial    *regexp.Regexp // a sentence that asserts nothing: "not", "until", "if"
	replaced  *regexp.Regexp
	fitted    *regexp.Regexp
	usable    *regexp.Regexp // the serviceable pile
	keptOn    *regexp.Regexp
}

// before and after a word of any alphabet; \b knows no accents.
const (
	begins = `(?i)(?:^|[^\pL\pN])(`
	ends   = `)(?:$|[^\pL\pN])`
)

func anyOf(words string) *regexp.Regexp { return regexp.MustCompile(begins + words + ends) }

// judgements are the languages whose words are known here, each made ready at its
// first use. Those that are not
// English are from memory, and no native speaker has read them; they err on the side
// of finding.
var judgements = map[string]func() judgement{
	"en": func() judgement {
		return judgement{assertion: assertion, denial: denial, replaced: replaced, fitted: fitted, usable: usable, keptOn: keptOn}
	},
	"fr": sync.OnceValue(func() judgement {
		return judgement{
			assertion: anyOf(`navigab\pL*|aptes? (?:au|à) vol\pL*|bons? pour le (?:vol|service)|bonnes? pour le (?:vol|service)|certifi\pL*|homologu\pL*|agréée?s?|` +
				`sans danger|sans risque|(?:est|sont|soit|reste|restent|parfaitement|tout à fait|entièrement) (?:sûre?s?|sécurisée?s?)|en (?:toute )?sécurité|` +
				`assez (?:solide|sûre?|bonn?e?)s? pour voler|prête?s? (?:à voler|pour le vol|à décoller)|approuvée?s? pour (?:le vol|voler|le service)|remise? en service|comme neu(?:f|ve)s?`),
			denial:   anyOf(`ne|n|pas|jamais|rien|personne|sans|aucune?|avant|quand|lorsque?|si|jusqu|sera|seront|serait|devra|devrait|doit|espérons|attend|attendent|au lieu`),
			replaced: anyOf(`remplac\pL*|une? neu(?:f|ve)|de rechange`),
			fitted:   anyOf(`remont\pL*|remise? en place|est (?:de nouveau )?en place|reposée?s?|montée?s? à bord`),
			usable:   anyOf(`utilisables?|en état (?:d.usage|de service|de marche)`),
			keptOn:   anyOf(`gardée?s?|conservée?s?|réutilisée?s?|remise? en place|reprend du service`),
		}
	}),
	"de": sync.OnceValue(func() judgement {
		return judgement{
			assertion: anyOf(`lufttüchtig\pL*|flugtüchtig\pL*|flugtauglich\pL*|flugfähig\pL*|flugbereit\pL*|startklar\pL*|zertifizier\pL*|zugelassen\pL*|Zulassung|freigegeben (?:zum|für den) Flug|` +
				`betriebssicher\pL*|flugsicher\pL*|ungefährlich\pL*|gefahrlos\pL*|(?:ist|sind|sei|bleibt|völlig|ganz|absolut) (?:wieder )?sicher|wie neu|stark genug zum Fliegen|sicher genug`),
			denial:   anyOf(`nicht|nie|niemals|kein\pL*|niemand|nichts|ohne|statt|bis|sobald|wenn|falls|wird|werden|würde|soll|sollte|bevor|noch|wartet|hoffen`),
			replaced: anyOf(`ersetz\pL*|ein neue[rs]|eine neue|ausgetauscht`),
			fitted:   anyOf(`(?:wieder )?eingebaut|(?:wieder )?montiert|wieder an (?:seinem|ihrem) Platz|sitzt wieder`),
			usable:   anyOf(`brauchbar\pL*|verwendbar\pL*|einsatzfähig\pL*`),
			keptOn:   anyOf(`behalten|weiterverwendet|wieder eingebaut|dient weiter`),
		}
	}),
	"cy": sync.OnceValue(func() judgement {
		return judgement{
			assertion: anyOf(`addas i hedfan|(?:yn )?ddigon (?:da|cryf|diogel) i hedfan|barod i hedfan|ardyst\pL*|tystysgrif\pL*|(?:yn|hollol|berffaith|gwbl) ddiogel|cymeradwy\pL* i hedfan|cystal â newydd|fel newydd`),
			denial:    anyOf(`nid|ni|na|nad|ddim|dim|byth|neb|heb|cyn|nes|pan|os|bydd|byddai|dylai|yn lle|aros|gobeithio`),
			replaced:  anyOf(`disodl\pL*|un newydd|rhai newydd|amnewid\pL*`),
			fitted:    anyOf(`ôl yn (?:ei|eu) (?:le|lle)|ailosod\pL*|ail-osod\pL*|wedi[’'\s]+(?:i[’'\s]+)?gosod`),
			usable:    anyOf(`defnyddiadwy|ddefnyddiadwy|cyflwr i[’']w ddefnyddio`),
			keptOn:    anyOf(`cadw|cadwyd|ailddefnyddi\pL*`),
		}
	}),
	"nl": sync.OnceValue(func() judgement {
		return judgement{
			assertion: anyOf(`luchtwaardig\pL*|vliegwaardig\pL*|gecertificeerd\pL*|certifica\pL*|goedgekeurd\pL* voor (?:de vlucht|vluchten|gebruik)|ongevaarlijk\pL*|zonder gevaar|` +
				`(?:is|zijn|blijft|volkomen|helemaal|volledig) (?:weer )?veilig|veilig genoeg|(?:sterk|goed) genoeg om te vliegen|klaar om te vliegen|zo goed als nieuw|als nieuw`),
			denial:   anyOf(`niet|nooit|geen|niemand|niets|zonder|in plaats|tot|zodra|wanneer|als|indien|zal|zullen|zou|moet|voordat|nog|wacht|hopen`),
			replaced: anyOf(`vervang\pL*|een nieuwe?|nieuw exemplaar`),
			fitted:   anyOf(`(?:weer |terug)?gemonteerd|teruggeplaatst|ingebouwd|weer op (?:zijn|haar) plaats`),
			usable:   anyOf(`bruikbaar|bruikbare|inzetbaar`),
			keptOn:   anyOf(`behouden|hergebruikt|teruggeplaatst|doet weer dienst`),
		}
	}),
}

// judgementOf is how a unit's language judges; as English does, if it is not known.
func (d *Desk) judgementOf(u *Unit) judgement {
	language := cmp.Or(u.language, d.ws.Settings.Workshop.Language)
	if of, known := judgements[tongue.Primary(language)]; known {
		return of()
	}
	return judgements["en"]()
}

// assertionsIn finds the words that judge, in English and in the unit's own language.
func (d *Desk) assertionsIn(u *Unit, t wording.Text) [][]int {
	found := assertion.FindAllStringIndex(t.Value, -1)
	if j := d.judgementOf(u); j.assertion != assertion {
		for _, m := range j.assertion.FindAllStringSubmatchIndex(t.Value, -1) {
			found = append(found, m[2:4])
		}
	}
	slices.SortFunc(found, func(a, b []int) int { return a[0] - b[0] })
	return found
}
