package planted

import "fmt"

// Other returns the cases that were written by hand.
func Other() []Case {
	var all []Case
	for _, group := range [][]Case{otherLeaks(), otherClean(), furtherLeaks(), furtherClean()} {
		for _, c := range group {
			c.ID = fmt.Sprintf("other-%04d", len(all)+1)
			all = append(all, c)
		}
	}
	return append(all, numbered(append(told(), called()...))...)
}

// with makes the cases of some texts beside one private value.
func with(kind, value string, leaks bool, texts ...string) []Case {
	var all []Case
	for _, t := range texts {
		all = append(all, Case{Text: t, Private: []Value{{kind, value}}, Leak: leaks})
	}
	return all
}

func copiedFrom(note string, leaks bool, texts ...string) []Case {
	var all []Case
	for _, t := range texts {
		all = append(all, Case{Text: t, Notes: []string{note}, Leak: leaks})
	}
	return all
}

func joined(groups ...[]Case) []Case {
	var all []Case
	for _, g := range groups {
		all = append(all, g...)
	}
	return all
}

const (
	spar  = "Spar cap delaminated over 40 mm outboard of rib 7; looks like a bonding fault from new, not impact."
	wires = "Replaced both rudder cables because the old ones had broken strands at the fairlead near the tail hatch."
	plain = "We think the previous owner flew it hard onto the water at least once and never told anyone about it."
	hinge = "Hinge pin seized solid, soaked it for three days, drifted it out with the lump hammer and a brass bar."
)

func otherLeaks() []Case {
	return joined(
		with("number", "AX-4410/2", true,
			"Bracket AX-4410/2 held the seat.", "Bracket ax44102 held the seat.", "Bracket AX 4410 / 2 held the seat.", "Bracket AX_4410_2 held the seat.", "AX-\n4410/2", "**AX-4410/2**", "A X 4 4 1 0 2", "AX—4410—2", "AX–4410⁄2", "AX.44.10.2",
			"(AX)(4410)(2)", "`AX`-`4410`/`2`", "<em>AX</em>-<strong>4410</strong>/2", "AX&#8209;4410&#x2F;2", "AX&ndash;4410&sol;2", "AX&nbsp;4410&nbsp;2", "А\u0425-4410/2", "𝐀𝐗-𝟒𝟒𝟏𝟎/𝟐", "ＡＸ－４４１０／２", "Ⓐⓧ-④④①⓪/②", "AX-44l0/2", "AX-441O/2", "AX-44IO/2", "AX-4410/Z",
			"A\u200bX\u200b-4\u200b410/2", "AX-4\u00ad410/2", "\u202aAX-4410/2\u202c", "A\u0332X\u0332-4\u0332410/2", "the AX-4410/2's lug", "Part_AX44102_front.jpg", "AX four four one oh slash two", "alpha x-ray 4410/2", "AX-(4410)-2", "AX 44 10 2", "![](AX4410-2.png)", "see [here](https://example.org/p?pn=AX-4410%2F2)",
			"AX-4410/2, AX-4410/3 and friends", "ax-<!-- x -->4410/2", "AX‑4410∕2", "ᴀx-4410/2", "🅰🆇-4410/2"),
		with("serial", "0927", true, "serial 0927", "Serial No. 0927", "S/N: 0927", "s.n. 0927", "The plate reads 0927.", "serial oh nine two seven", "the number 0927 is stamped on it", "serial number 0-9-2-7", "serial O927"),
		with("serial", "7F", true, "serial 7F", "Serial number 7-F", "serial no. seven f", "S/N 7f", "drawing 7F", "It was number 7F."),
		with("drawing", "OC-114-203 Issue B", true, "drawing OC-114-203", "OC 114 203 issue B", "oc114203", "OC-114-2O3", "O C one one four two zero three", "OC/114/203"),
		with("drawing", "22", true, "drawing 22", "Drawing no. 22", "drawing number twenty-two", "drg 22"),
		with("approval", "MOD-217", true, "Mod 217", "mod two one seven", "mod two hundred and seventeen", "MOD217", "Modification 217", "under mod. 217", "mod no 217", "approval 217", "M0D-2l7"),
		with("report", "NDT-0088", true, "NDT 88", "ndt0088", "NDT-OO88", "report 0088", "report number eighty-eight", "N.D.T. 0088", "NDT double-oh double-eight"),
		with("person", "Brenna Quillfeather", true,
			"Brenna Quillfeather led it.", "B. Quillfeather led it.", "Quillfeather led it.", "QUILLFEATHER, Brenna", "Quillfeather B", "brenna quillfeather", "Brenna\nQuillfeather", "Brenna **Quill**feather", "Brenna Quill­feather", "B r e n n a Q u i l l f e a t h e r", "BrennaQuillfeather", "Brenna-Quillfeather", "Brenna_Quillfeather.jpg",
			"Quillfeather's patience", "Quillfeather’s patience", "the Quillfeathers", "Ms Quillfeather", "Βrenna Quillfeаther", "𝓑𝓻𝓮𝓷𝓷𝓪 𝓠𝓾𝓲𝓵𝓵𝓯𝓮𝓪𝓽𝓱𝓮𝓻", "Quíllféather", "Qui11feather", "@quillfeather", "Brenna&nbsp;Quillfeather", "Quill<wbr>feather", "Bren&shy;na Quill&shy;feather", "Quill-\nfeather", "Brenna “Bee” Quillfeather"),
		with("person", "Tom Oak", true, "Tom Oak", "T. Oak", "Oak, Tom", "TOM OAK"),
		with("person", "Petra Stone", true, "Petra Stone drew it.", "As Stone says, it held.", "Mr Stone", "P. Stone", "Ask Stone.", "Our thanks to Petra Stone!", "We owe it to Stone, who filed it."),
		with("person", "Zoë Åkerlund", true, "Zoe Akerlund", "Zoë Åkerlund", "Akerlund", "ÅKERLUND"),
		with("supplier", "Fenwright Forge Ltd", true,
			"Fenwright Forge made it.", "Fenwright Forge Ltd. made it.", "fenwright-forge", "FENWRIGHT FORGE LIMITED", "Fenwright\nForge", "Fenwright Forge's work", "FenwrightForge", "fenwrightforge.example", "F e n w r i g h t Forge", "Fenwright&nbsp;Forge", "Fenwright *Forge*", "Fеnwright Fоrge", "Fenwright, Forge", "Fenwright’s Forge"),
		with("supplier", "Osterholm Metallbau GmbH & Co. KG", true, "Osterholm Metallbau", "Osterholm-Metallbau GmbH", "osterholm metallbau gmbh und co"),
		with("supplier", "Pike & Daughters", true, "Pike and Daughters", "Pike & Daughters", "Pike &amp; Daughters", "PIKE + DAUGHTERS"),
		with("term", "Operation Lantern", true, "Operation Lantern", "operation lantern", "operation-lantern", "OPERATION\nLANTERN", "Operation &#76;antern", "Operation Lantern's end"),
		with("term", "Ullscarf", true, "the Ullscarf deal", "Ull-scarf", "ULLSCARF", "Ullsсаrf"),
		with("cost", "GBP 1840.00", true, "£1,840", "£1840.00", "1,840 pounds", "£1 840", "one thousand eight hundred and forty pounds", "GBP 1,840.00", "£1.84k", "1840 quid", "The bill came to 1,840.00.", "It cost £1,840.00p."),
		with("cost", "£96.20", true, "£96.20", "96 pounds 20", "ninety-six pounds twenty", "96.20 GBP", "£96.2", "ninety-six pounds and twenty pence"),
		with("cost", "EUR 730.00", true, "€730", "730 €", "730 euros", "seven hundred and thirty euros", "EUR 730.00", "730,00 €"),
		with("reading", "2.05 mm", true, "2.05 mm", "2.05mm", "2,05 mm", "two point oh five millimetres", "0.0807 in", "81 thou", "0.205 cm", "2.1 mm", "2.05&#8201;mm", "２.０５ mm", "about 2 mm"),
		with("reading", "12%", true, "12%", "12 per cent", "twelve percent", "12 pct", "an eighth of its thickness"),
		with("reading", "0.125 in", true, "1/8 in", "⅛ inch", "an eighth of an inch", "0.125\"", "3.18 mm", "3.175 mm", "125 thou", "an eighth-inch plate"),
		copiedFrom(spar, true, spar, "The spar cap delaminated over 40 mm outboard of rib 7, and looks like a bonding fault.", "SPAR CAP DELAMINATED OVER 40 MM OUTBOARD OF RIB 7", "spar cap delaminated over forty mm outboard of rib seven",
			"Looks like a bonding fault from new, not impact.", "Spar cap delaminated 40 mm outboard of 7; looks like bonding fault from not impact.", "Spar cap delaminated nearly 40 mm outboard near rib 7; looks perhaps a bonding fault since new, not impact."),
		copiedFrom(wires, true, wires, "The old ones had broken strands at the fairlead near the hatch.", "because the old ones had broken strands at the fairlead", "Because—the old—ones had *broken* strands at the fairlead!", "Replaced both rudder because the old had broken strands the fairlead near tail hatch.",
			"Replaced both elevator cables because the worn ones had broken wires at the fairlead by the tail hatch.", "Replaced both rudder cables since the old ones were broken strands at a fairlead near the rear hatch."),
		copiedFrom(plain, true, plain, "The previous owner flew it hard onto the water at least once.", "We think the previous flew it hard the water at once and never anyone about it.", "We think the last owner flew it fast onto the water in least once and not told anyone about that.", "never told anyone about it. The previous owner flew it hard onto the water"),
		copiedFrom(hinge, true, hinge, "soaked it for three days, drifted it out", "It seized solid; we soaked it for 3 days, drifted it out with the lump hammer.", "Hinge pin seized soaked it for days, drifted it with the lump and a brass", "Hinge pin seized tight, soaked it over three days, drifted that out with the big hammer and a steel bar."),
		with("person", "x", true, "Reach her on 07700 900456.", "+44 7700 900456", "tel: 020 7946 0321", "020-7946-0321", "(020) 7946 0321", "0131 496 0777", "phone 0131.496.0777", "Text 07700 900 456 any time.", "oh seven seven double oh nine hundred four five six", "zero one three one four nine six zero seven seven seven",
			"brenna@quill.example.org", "brenna(at)example.org", "brenna at example dot org", "brenna[at]example[dot]org", "brenna.q at mail dot example dot org", "Brenna AT example DOT org", "brenna&#x40;example.org", "brenna＠example．org", "<brenna@example.org>", "bren\u200bna@exam\u200bple.org",
			"The shed is at EC1A 1BB.", "ec1a 1bb", "EC1A  1BB", "EC1A\n1BB", "EC1A1BB", "post it to W1A 0AX", "ＥＣ１Ａ １ＢＢ", "E C 1 A 1 B B", "+49 30 901820", "+1-202-555-0143", "call 960123"),
	)
}

// furtherLeaks were written after the first two sets were found, to see what
// had been fitted to them.
func furtherLeaks() []Case {
	const (
		bilge  = "Pump ran dry because somebody left the strainer in the sink, so the bearing is scored and the shaft went blue."
		glue   = "The frame maker used the wrong glue in the nineties and every joint we tap now sounds like a biscuit tin."
		ladder = "Nobody signed for the ladder. It was the same ladder that slipped in March and we were lucky that day."
	)
	return joined(
		with("part_number", "RK 718.02-C", true, "RK 718.02-C", "rk71802c", "RK-718-02-C", "R.K. 718/02 C", "RK 7 1 8 0 2 C", "RK_718_02_C", "RK&thinsp;718.02&minus;C", "ＲＫ 718.02-C", "RK 7I8.O2-C", "RΚ 718.02-С", "RK seven one eight zero two C", "romeo kilo seven one eight oh two charlie", "RK 718.02-*C*", "RK 718,02,C", "RK718.02‐C", "[RK](a)[718](b).02-C", "RK\t718\t02\tC",
			"https://example.org/RK%20718%2E02%2DC", "RK 718.\n02-C", "rk 718:02:c", "R\u0336K\u0336 718.02-C", "RK 718.02-C's twin", "<td>RK 718</td><td>02-C</td>", "🆁🅺 ⁷¹⁸.⁰²-C"),
		with("serial", "S/N 204", true, "SN204", "S/N204", "No204", "Serial Nº 204", "serial number: two hundred and four", "serial two-oh-four", "the serial is 2-0-4", "number 204 on the plate", "stamped 204"),
		with("approval", "MOD-009", true, "Mod 9", "MOD 009", "mod nine", "modification no. 9", "mod. zero zero nine", "approval MOD/009", "MOD_OO9"),
		with("drawing", "4471/B sheet 12", true, "4471/B", "drawing 4471 B, sheet 12", "4471-b sht 12", "44-71-B", "drawing number 4471 B"),
		with("person", "Jürgen Mühlbach", true, "Jürgen Mühlbach", "Juergen Muehlbach", "Jurgen Muhlbach", "J. Mühlbach", "Mühlbach’s", "MUEHLBACH", "Mu\u0308hlbach", "Müh&shy;l&shy;bach"),
		with("person", "Dr Isla Fairweather-Knott", true, "Isla Fairweather-Knott", "Fairweather Knott", "Dr Fairweather-Knott", "I. Fairweather-Knott", "FAIRWEATHERKNOTT", "Fairweather-\nKnott"),
		with("person", "Ned Orr", true, "Ned Orr", "N. Orr", "Orr, Ned", "Ned  Orr's", "NED ORR", "Ned J. Orr", "Ned **Orr**"),
		with("person", "Dawn Fisher", true, "Dawn Fisher", "Mr Fisher of the paint team", "Then Fisher said no.", "It was Fisher who saw it.", "Fisher's drill, said the label, by Fisher.", "D. Fisher"),
		with("supplier", "Corvane Aero Spares (UK) Ltd.", true, "Corvane Aero Spares", "Corvane Aerospares", "corvane-aero-spares.example", "CORVANE AERO SPARES", "Corvane\nAero Spares", "Corvane Aero-Spares'", "Corvane Aero Spares (UK) Limited"),
		with("supplier", "Tolley and Brace", true, "Tolley & Brace", "Tolley and Brace Ltd", "TOLLEY+BRACE", "Tolley &amp; Brace's"),
		with("cost", "GBP 57.80", true, "£57.80", "fifty-seven pounds eighty", "57.80 pounds", "5780p", "£58", "GBP57.80", "57 pounds and 80p", "£57·80", "It cost 57.80."),
		with("reading", "0.9 mm", true, "0.9 mm", "900 microns", "nine tenths of a millimetre", "0.90mm", "35 thou", ".9 mm", "0·9 millimetres"),
		with("reading", "33%", true, "33%", "33 per cent", "a third of its thickness had gone", "thirty-three percent", "33 percent"),
		copiedFrom(bilge, true, bilge, "Somebody left the strainer in the sink, so the bearing is scored.", "SOMEBODY LEFT THE STRAINER IN THE SINK, SO", "the strainer in the sink so the bear-\ning is scored and the shaft went blue", "Pump ran because somebody left strainer in the so the bearing scored and the went blue.", "Pump ran hot because somebody dropped the strainer down the sink, so our bearing is scored but the shaft went dark.",
			"Pump ran dry because someone left the strainer by the sink, so its bearing is scored and its shaft went blue."),
		copiedFrom(glue, true, "Every joint we tap now sounds like a biscuit tin.", "they used the wrong glue in the nineties and every joint we tap now rings", "The frame maker took the wrong glue in those nineties and every seam we tap now rings like a biscuit drum.", "frame maker used the glue in the nineties every joint we tap sounds like a biscuit"),
		copiedFrom(ladder, true, "It was the same ladder that slipped in March.", "Nobody signed for the ladder; it was the same ladder", "Nobody asked for the ladder. Perhaps was the same ladder — slipped in March and they were lucky that time.", "Nobody signed for ladder. It was same ladder that slipped March and we were that day."),
		with("person", "x", true, "01632 nine six oh one two three", "plus four four one six three two nine six oh one two three", "ring 0 1 6 3 2 9 6 0 1 2 3", "01632/960 123", "+44-1632-960-123", "tel.: 01632 960123", "gus dot p at mail dot example dot net", "gus @ example dot net", "Write to gus.p at example.net.", "gus_at_example_dot_net", "GUS [AT] EXAMPLE [DOT] NET", "gus{at}example.net", "dn55 1pt", "Dn55 1pt", "DN55.1PT", "dn551pt", "BFPO 58", "bfpo 58"),
	)
}

func furtherClean() []Case {
	const bilge = "Pump ran dry because somebody left the strainer in the sink, so the bearing is scored and the shaft went blue."
	common := []string{
		"The pump ran dry and its bearing is scored.", "Somebody left a strainer in the sink.", "The shaft went blue, which means that it had been very hot.", "Drawing 204 visitors on one day was a record.", "Number 9 is the next stop on the tour.", "We need nine more.", "Ask for the 204 bus.", "Meet at number 9, Quay Cottages.", "Part 9 of the story is next week.",
		"Nine frames, and two hundred and four ribs.", "In 1718 the harbour was built.", "It was made in 2004.", "Open 7 days, 18.02 to 18.30.", "At dawn the fisher boats leave.", "Dawn broke. Fishers came.", "A kingfisher sat there.", "Brace the frame and tighten.", "Aero engines need spares.", "There were spares for an aero engine.", "The knot was fair in that weather.",
		"33 people came.", "It was 9 mm wide.", "A third of an hour later it was off.", "£5.78 a cup", "It took 57 hours and 80 rivets.", "58 pounds of lead", "57.80 kg", "Look at example.org or ring the bell.", "The site is example dot org, look at it.", "Lines 10 to 15 on page 204.", "He scored 204 not out.", "204 mm", "the 204th", "Week 9", "9 a.m.", "Frame 9 is out.",
		"M25 2nd exit", "A12 5th turning", "3 in 4 of them", "Two of the 204 were ours.", "c 1920, no. 12 of 40 in the photo album.", "Order in the hangar, orrery in the hall.", "Ned the dog", "Needs more work.", "Every joint was tapped.", "The frame maker used glue.", "A biscuit tin held the screws.", "It was the same as the day before.", "We were lucky that day.",
		"On the other side of the hull, at the back of the hangar, there is more to see.", "As far as we can tell it is the first of its kind.", "It turned out to be one of the best days of the year so far.", "Come and see it for yourself on the first Sunday of the month.", "Registration G-204 is not ours.", "The 9.15 train", "Gate 9, row 204.", "A modest 9 per cent more came.",
	}
	sets := []Case{
		{Private: []Value{{"part_number", "RK 718.02-C"}, {"serial", "S/N 204"}, {"approval", "MOD-009"}, {"person", "Ned Orr"}}, Notes: []string{bilge}},
		{Private: []Value{{"person", "Dawn Fisher"}, {"supplier", "Corvane Aero Spares (UK) Ltd."}, {"supplier", "Tolley and Brace"}, {"cost", "GBP 57.80"}, {"person", "Dr Isla Fairweather-Knott"}}, Notes: []string{hinge}},
	}
	var all []Case
	for _, s := range sets {
		for _, t := range common {
			c := s
			c.Text = t
			all = append(all, c)
		}
	}
	return all
}

func otherClean() []Case {
	common := []string{
		"The hull is 12 m long and 2.4 m wide.", "Doors open at 10:00 and close at 16:30.", "Turn to page 22.", "The second photo on page 7 is ours.", "Number 22, Harbour Row, has the blue door.", "She lives at number 7.", "In 1927 it was new.", "Since 2017 we have rebuilt 217 ribs.", "It was the 88th flight.",
		"Entry is £9.50, children £4.", "A cup of tea is 96p.", "We raised £2,840 at the fair.", "Frame seven is behind the door.", "Frames twenty to twenty-two are new.", "The rib at frame 17 is bent.", "Twenty-two people came.", "It stands 7 feet tall.", "Two hundred and seventeen rivets went in.", "Eighty-eight steps lead up.",
		"At the end of the day we swept up.", "It was one of the most rewarding jobs of the year for the rest of the team.", "Seen from the top of the hull it looks small.", "The tail hatch is near the rudder.", "Both rudder cables are new.", "The hinge pin came out.", "It was a hard landing on the water.", "We think it flew in the war.",
		"The stone quay is old.", "A stone fell.", "Stone walls are cold.", "The oak bench is strong.", "Oak lasts.", "Tom the cat sat on it.", "A quill and a feather lay there.", "A pike swam past.", "Mothers and daughters came.", "The forge was hot.", "They fen, wright and forge.", "The operation took an hour by lantern.", "A lantern hung there.", "Full scarf joints are strong.",
		"Week 7 of 22.", "14/02/2031", "2031-02-14", "14.02.31", "It is 3 miles to the sea.", "Call by on Sunday.", "Ring us at the gate.", "Look for us at example.org.", "See the map at the front dot the numbers.", "The A4410 is the road to us.", "Bus 22 stops here.", "Stop number 7 is by the tail.", "Room 22 is upstairs.",
		"Half the team was away.", "A third of visitors come back.", "One in eight came back.", "The quarter ended well.", "It was 8 in the morning.", "99% of it is original.", "It ran at 2,050 rpm.", "Use 1 mm or 3 mm sheet.", "10 mm bolts", "It weighs 2.05 kg.", "Allow 730 hours.", "The 1840s harbour wall.", "In 1840 the harbour was dug.", "The engine number is not known.",
		"No other number will do.", "The serial was on the radio.", "A drawing by a child won.", "The mod scene of 1965 had scooters.", "Modern paint lasts 20 years.", "The reporter asked 88 questions.", "Our approval is not needed.", "There is no 22nd rib.", "Lot 22 was a clock.", "Chapter 7 tells of it.", "Table 22 lists them.", "B747 jets fly over.", "The EC1A label is on the plug.",
		"Visit us between 1 and 2 October.", "ISBN 978-1-86197-876-9", "Size 44, 10 or 2?", "Score: 44-10, 2 wickets left.", "12.5 litres of oil", "Grid reference TG 440 102", "Coordinates 52.6309, 1.2974", "It took 1h 22m 07s.", "3 × 4 = 12", "Version 2.0.5", "The ratio is 1:8.",
	}
	secrets := []Case{
		{Private: []Value{{"number", "AX-4410/2"}, {"serial", "7F"}, {"serial", "0927"}, {"person", "Petra Stone"}, {"supplier", "Pike & Daughters"}}, Notes: []string{spar, plain}},
		{Private: []Value{{"approval", "MOD-217"}, {"report", "NDT-0088"}, {"person", "Brenna Quillfeather"}, {"person", "Tom Oak"}, {"cost", "GBP 1840.00"}, {"term", "Operation Lantern"}}, Notes: []string{wires, hinge}},
		{Private: []Value{{"reading", "2.05 mm"}, {"cost", "£96.20"}, {"cost", "EUR 730.00"}, {"supplier", "Fenwright Forge Ltd"}, {"term", "Ullscarf"}, {"drawing", "OC-114-203 Issue B"}}, Notes: []string{spar, hinge}},
		{Private: []Value{{"serial", "2017"}, {"number", "1840"}, {"number", "A4410-B"}, {"person", "Robin Frost"}, {"person", "June Harbour"}, {"term", "red book"}}, Notes: []string{plain, wires}},
	}
	var all []Case
	for _, s := range secrets {
		for _, t := range common {
			c := s
			c.Text = t
			all = append(all, c)
		}
	}
	return joined(all,
		with("number", "AX-4410/2", false, "AX-4410/3", "AX-4401/2", "BX-4410/2", "AX-441023 9 is not it", "AX-4410", "axe 4410 2"),
		with("serial", "0927", false, "serial 0928", "09:27", "0.927", "927 people", "It came at 09.27 from town.", "00927"),
		with("serial", "22", false, "22 rivets", "frames 22 and 23 m apart", "It is 22 years old.", "page 22", "house number 22", "22%", "stop 22", "Twenty-two of us"),
		with("approval", "MOD-217", false, "Frame 217", "frame two hundred and seventeen", "page 217", "mod 218", "modelled 217 times", "217 mods"),
		with("person", "Petra Stone", false, "Petra", "A stone's throw", "Stonework", "Stone Quay", "The Stone Jetty", "Limestone", "stone"),
		with("person", "Robin Frost", false, "Frost lay on the wing.", "A robin in the frost", "Robins and frost", "The frost got in."),
		with("person", "Ed Lowe", false, "the lower flange", "lowered", "Edlow", "below"),
		with("supplier", "Hexworth Castings", false, "castings", "sand castings from a foundry", "worth casting", "The hex. Worth castings? No."),
		with("term", "Tern", false, "internal", "pattern", "eastern", "alternate", "Terne plate"),
		with("cost", "GBP 412.50", false, "£41.25", "£4,125", "£412,500", "412 kg", "€412.50", "frame 412", "412.50 mm", "£142.50", "room 412"),
		with("reading", "1.38 mm", false, "1.39 mm", "1.3 mm", "13.8 mm", "1.38 kg", "138 people", "1.38 hours", "£1.38", "1.38 inches", "1.38%"),
		with("reading", "15%", false, "15 people", "14%", "16 per cent", "15 mm", "1.5%", "150%", "frame 15"),
		copiedFrom(spar, false, "The spar cap is the strip along the top and bottom of the spar.", "A bonding fault is hard to see from outside.", "The glue had let go over a hand's width outboard of a rib.", "It looks like a fault from new, not from a knock.", "Rib 7 is outboard of the engine."),
		copiedFrom(wires, false, "We fitted new rudder cables because the old wires were frayed.", "The old ones had broken strands, as you can see in the photo by the hatch.", "The cables run past the fairlead near the tail hatch.", "Broken strands at a fairlead are common."),
		copiedFrom(plain, false, "It may have been flown hard by its previous owner.", "We think that it was flown onto the water at least a thousand times.", "Nobody ever told us about it.", "The previous owner never told anyone where the spares were."),
		copiedFrom(hinge, false, "The pin had seized, so we soaked it in oil for days.", "We drove it out with a hammer and a brass bar.", "With the lump hammer and a lot of patience it came.", "It took three days to free the hinge."),
		[]Case{
			{Text: "Brenna Quillfeather led it.", Private: []Value{{"person", "Brenna Quillfeather"}}, Credited: []string{"Brenna Quillfeather"}},
			{Text: "With thanks to Quillfeather and her team.", Private: []Value{{"person", "Brenna Quillfeather"}}, Credited: []string{"Brenna Quillfeather"}},
			{Text: "Parts lent by Fenwright Forge.", Private: []Value{{"supplier", "Fenwright Forge"}}, Credited: []string{"Fenwright Forge"}},
		})
}
