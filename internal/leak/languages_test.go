package leak_test

import (
	"testing"

	"example.org/opencowl/internal/leak"
	"example.org/opencowl/internal/measure"
)

// TestMeasurementsInOtherLanguages: a private thickness of 1.63 mm, a private loss of
// 15 %, and a cost, as translations would write them. Decimal commas and no-break
// spaces are those of CLDR; the words for units are from memory.
func TestMeasurementsInOtherLanguages(t *testing.T) {
	thickness, err := measure.Parse("1.63 mm")
	if err != nil {
		t.Fatal(err)
	}
	x := leak.NewIndex(leak.Private{
		Readings: []leak.Reading{
			{Part: "strip", Kind: "thickness", Length: thickness.Length, Where: "parts/strip.md"},
			{Part: "strip", Kind: "loss", Share: 15 * measure.OnePercent, IsShare: true, Where: "parts/strip.md"},
		},
		Values: []leak.Value{{Kind: "cost", Value: "GBP 1412.50", Where: "log/a.md"}},
	})
	for _, text := range []string{
		"Elle faisait 1,63 mm.", "Elle faisait 1,63\u00a0mm.", "Elle faisait 1,63\u202fmm.", "Elle faisait 1,6 mm.", "Épaisseur 1,63 millimètre à neuf.", "Épaisseur : 1,63 millimètres.",
		"Elle faisait 0,064 pouce.", "Elle faisait 0,064 po.", "Elle faisait 163 centièmes : 0,163 cm.",
		"Er war 1,63 mm dick.", "Er war 1,63 Millimeter dick.", "Bei 1,63 Millimetern.", "Er war 0,064 Zoll dick.",
		"Roedd yn 1.63 milimetr o drwch.", "Roedd yn 1.63 o filimetrau.", "Roedd yn 0.064 modfedd.", "Hij was 1,63 millimeter dik.", "Hij was 0,064 inch dik.", "Hij was 0,064 duim dik.",
		"Elle a perdu 15 %.", "Elle a perdu 15\u00a0%.", "Elle a perdu 15\u202f%.", "Elle a perdu 15,0 %.", "Elle a perdu 15 pour cent.", "Er hat 15 Prozent verloren.", "Collodd 15 y cant.", "Hij verloor 15 procent.",
		"Elle a coûté 1412,50 £.", "Elle a coûté 1\u202f412,50 £.", "Elle a coûté 1\u00a0412,50\u00a0£.", "Er kostete 1.412,50 £.", "Hij kostte £ 1.412,50.",
	} {
		if found := x.FindAbout(text, []string{"strip"}); len(found) == 0 {
			t.Errorf("%q: nothing found", text)
		}
	}
	for _, text := range []string{
		"Elle faisait 1,93 mm.", "Elle faisait 0,084 pouce.", "Er war 0,084 Zoll dick.", "Roedd yn 0.084 modfedd.", "Elle a perdu 17 %.", "Er hat 17 Prozent verloren.", "Collodd 17 y cant.", "Elle a coûté 1712,50 £.",
		"Le 15 janvier 2031.", "Am 15. Januar 2031.", "Depuis 15 ans.", "15 pour commencer.",
	} {
		if found := x.FindAbout(text, []string{"strip"}); len(found) > 0 {
			t.Errorf("%q: found %v", text, found)
		}
	}
}
