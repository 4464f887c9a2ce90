package planted

import "strings"

// called are values under all the names that their kinds may be given.
func called() []Case {
	var all []Case
	add := func(kinds, value string, leaks bool, texts ...string) {
		for _, kind := range strings.Split(strings.Join(strings.Fields(kinds), " "), "; ") {
			all = append(all, toldIn("called", []Value{{kind, value}}, nil, leaks, texts...)...)
		}
	}
	add(calledPeople, "Gus Penhallick", true, "It was Penhallick who did it.", "It was Mr Penhallick’s idea.", "Penhallick, G.")
	add(calledPeople, "Gus Penhallick", false, "Gus did it.")
	add(calledFirms, "Hexworth Castings Ltd", true, "It came from Hexworth Castings.")
	add(calledFirms, "Norvane & Sons", true, "It came from NORVANE AND SONS.")
	add(calledFirms, "Hexworth Castings Ltd", false, "The castings are worth seeing.")
	add(calledTerms, "Winter Orchid", true, "The winter orchid plan is on.")
	add(calledTerms, "Winter Orchid", false, "An orchid does not like the winter.")
	add(calledIdentifiers, "KQ-4471-09", true, "It was kq 4471 09 on the list.")
	add(calledIdentifiers, "KQ-4471-09", false, "It was KQ-4471-08 on the list.")
	for _, sum := range []string{"£4,180", "4180 GBP", "about £4,180 + VAT"} {
		add(calledSums, sum, true, "It cost four thousand one hundred and eighty pounds.")
		add(calledSums, sum, false, "It cost £4,190.")
	}
	for _, length := range []string{"1.38 mm", "approx 1.38 mm", "0.138 cm"} {
		add(calledMeasurements, length, true, "It was down to 1.4 mm.")
		add(calledMeasurements, length, false, "It was 1.5 mm.")
	}
	for _, both := range []string{"from 1.63 to 1.38 mm", "1.63 → 1.38 mm", "nominal 1.63 mm, least 1.38 mm"} {
		add("thickness; readings; measurement; loss", both, true, "It was 1.63 mm.", "It was 1.38 mm.", "It had lost 0.25 mm.", "15 per cent was gone.")
		add("thickness; readings; measurement; loss", both, false, "15 per cent of the visitors were gone by four.", "It was 1.5 mm.")
	}
	return all
}

const (
	calledPeople = `person; Person; PERSON; people; name; Name; full_name; fullName; contact; contact name; contactName; contact_person; engineer; inspector; inspected_by; inspectedBy; signed off by; approver;
		approved by; author; report author; volunteer; volunteers; staff; staff_member; employee; donor; donor_name; lender; owner; worker; who; by; done by; supplier contact; supplier_contact;
		vendor contact name; restorer; guide; signatory; person_name; personName; surname; customer; client; private person; uncredited person; named_person; private_name; individual; human;
		team member; helper; workman; tradesman; fitter; taker; photographer; writer; speaker; recorded by; reported_by; checked_by; supervisor; manager; director; chair; chairman; curator;
		conservator; archivist; accountant; treasurer; secretary; driver; friend; relative; widow; family; minor; child; boy; girl`
	calledFirms = `supplier; suppliers; Supplier; supplier_name; supplierName; vendor; vendors; vendor_name; firm; company; company_name; companyName; manufacturer; maker; made_by; contractor; subcontractor;
		sub-contractor; business; merchant; source; supplied_by; bought from; stockist; foundry; shop; mill; organisation; dealer; trade name; outside firm; workshop; provider; seller; supplier firm;
		purchased_from; bought_from; sourced from; supply house; partner; sponsor; body; institution; museum; yard; private supplier`
	calledTerms = `term; terms; private_term; private_terms; privateTerm; private term; word; phrase; secret; codename; code_name; project; project_name; keyword; internal name; nickname; topic; confidential;
		sensitive; other; misc; note; private; unknown; label; title; thing; location; place; client project; forbidden; banned_word; forbidden phrase; private words; custom; tag; string`
	calledIdentifiers = `number; numbers; part number; part_number; partNumber; PartNumber; partNo; part no; Part No.; part-no; part_no; PN; P/N; p/n; part; parts; part id; partId; part_ref; identifier; id; code;
		component number; item number; stock number; ref; reference; serial; Serial No; serialNumber; serial_no; S/N; s/n; SN; sn; drawing; drawings; drawing number; drawingNo; drawing_no; drg; DRG;
		dwg; drg no; drawing ref; report; report_number; reportRef; NDT report; ndt_report; ndtReport; lab report; inspection report; test report; approval; approvalRef; approval_ref; modification;
		mod; mod approval; mod_no; MOD; modification number; concession; certificate; cert no; release certificate; work order; job number; order number; invoice number; invoice_no; batch;
		batch number; heat number; lot; asset tag; registration; document; document number; licence number; supplier part number; supplier_ref; engineer licence; member number; job ref; PO;
		purchase order; po_number; quote number; cost centre; price code; thickness report; measurement report; original part number; remaining part number; loss report; other; private; unknown;
		person id; tag; label; stamp; marking; plate; data plate; ident`
	calledSums = `cost; costs; Cost; price; prices; amount; invoice; invoice_total; invoiceTotal; invoice cost; fee; bill; total; total cost; totalCost; cost_gbp; costGBP; cost (GBP); price_paid; pricePaid;
		paid; payment; spend; spent; quote; quotation; money; sum; budget; expense; expenditure; charge; value; purchase price; cost_of_repair; repair cost; labour cost; material cost; supplier cost;
		supplier price; part cost; part price; unit cost; unit_price; figure; private; unknown; other; financial; finance; donation; grant; estimate; supplier invoice; order value; cost per part;
		private cost; private_amount; wages; salary; fare; deposit; insurance; rental; rent; cost figure; accounts`
	calledMeasurements = `thickness; Thickness; least thickness; leastThickness; least_thickness; min thickness; minThickness; minimum_thickness; remaining; remaining thickness; remainingThickness; remaining_mm;
		measured; measured thickness; nominal; nominal thickness; nominal_thickness; original; original thickness; originalThickness; reading; readings; gauge; gauge reading; measurement;
		measurements; Measurement; dimension; depth; pit depth; pit_depth; diameter; width; length; height; sheet thickness; metal thickness; wall thickness; thk; min_thk; loss; loss_mm; wear;
		private measurement; number; figure; private; unknown; size; ut reading; ultrasonic reading; micrometer; caliper reading; part thickness; drawing dimension; value; corrosion depth; limit;
		tolerance; remaining metal; new; old; before; after; now; then; worst; thinnest; spot`
)
