package exchange

import (
	"cmp"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// occurrence is a landed fish in the terms of Darwin Core (Wieczorek et al. 2012, PLoS ONE 7:e29715; https://dwc.tdwg.org/terms/),
// for whoever gathers records of species. It tells nothing that the table of catches does not.
type occurrence struct {
	fish   Fish
	outing Outing
	design trial.Design
	trial  trial.ID
}

// occurrenceTable is written from outings and catches and not read back.
func occurrenceTable() packageTable {
	columns := occurrenceColumns()
	return packageTable{
		tableFacts: tableFacts{
			"occurrence", "landed fish in the terms of Darwin Core",
			[]string{"occurrenceID"},
			[]foreignKey{{[]string{"catalogNumber"}, "catches", []string{"catch"}}},
		},
		columns: factsOf(columns),
		records: func(p Package) Rows[[]string] { return recordsOf(columns, p.occurrences()) },
	}
}

// occurrences joins landed fish, but those taken back, with their outings, of which one angler's are held at a time.
func (p Package) occurrences() Rows[occurrence] {
	return func(yield func(occurrence, error) bool) {
		outings := newGroups(p.Outings, func(o Outing) string { return o.Angler })
		defer outings.stop()
		var of map[trial.ID]Outing
		angler := ""
		for fish, err := range p.Catches {
			if err == nil && (of == nil || fish.Angler != angler) {
				var list []Outing
				if list, err = outings.of(fish.Angler); err == nil {
					angler, of = fish.Angler, make(map[trial.ID]Outing, len(list))
					for _, o := range list {
						of[o.ID] = o
					}
				}
			}
			if err != nil {
				yield(occurrence{}, err)
				return
			}
			if fish.Outcome != trial.Landed || fish.Void {
				continue
			}
			if !yield(occurrence{fish: fish, outing: of[fish.Outing], design: p.Facts.Design, trial: p.Facts.Trial}, nil) {
				return
			}
		}
	}
}

func occurrenceColumns() []column[occurrence] {
	derived := func(name, meaning string, value func(occurrence) string) column[occurrence] {
		return column[occurrence]{name: name, meaning: meaning, kind: "string", write: func(o *occurrence) string { return guard(value(*o)) }}
	}
	same := func(value string) func(occurrence) string { return func(occurrence) string { return value } }
	number := func(c column[occurrence], kind, unit string) column[occurrence] {
		c.kind, c.unit = kind, unit
		return c
	}
	return []column[occurrence]{
		key(derived("occurrenceID", "dwc:occurrenceID", func(o occurrence) string { return "urn:uuid:" + o.trial.String() + ":" + o.fish.ID.String() })),
		needed(derived("catalogNumber", "dwc:catalogNumber: the fish in catches.csv", func(o occurrence) string { return o.fish.ID.String() })),
		derived("eventID", "dwc:eventID: the period", func(o occurrence) string { return o.fish.Period.String() }),
		derived("parentEventID", "dwc:parentEventID: the outing", func(o occurrence) string { return idText(o.fish.Outing) }),
		needed(derived("basisOfRecord", "dwc:basisOfRecord", same("HumanObservation"))),
		derived("eventDate", "dwc:eventDate: the week's days (ISO 8601 interval)", func(o occurrence) string { return weekDays(o.fish.Week) }),
		derived("samplingProtocol", "dwc:samplingProtocol", func(o occurrence) string {
			if o.design == trial.PairedByOuting {
				return "angling with two artificial flies on one rig, flies changed over between outings"
			}
			return "angling with two artificial flies on one rig, flies changed over within the outing"
		}),
		number(needed(derived("sampleSizeValue", "dwc:sampleSizeValue", same("1"))), "integer", ""),
		derived("sampleSizeUnit", "dwc:sampleSizeUnit", same("outing")),
		derived("samplingEffort", "dwc:samplingEffort", same("one angler, two flies")),
		derived("recordedBy", "dwc:recordedBy: a pseudonym", func(o occurrence) string { return o.fish.Angler }),
		number(needed(derived("individualCount", "dwc:individualCount", same("1"))), "integer", "fish"),
		derived("scientificName", "dwc:scientificName; empty where it is not known or withheld", func(o occurrence) string {
			if o.fish.Species == trial.OtherSpecies || o.fish.Species == trial.UnknownSpecies {
				return ""
			}
			return o.fish.Species
		}),
		needed(derived("occurrenceStatus", "dwc:occurrenceStatus", same("present"))),
		derived("establishmentMeans", "dwc:establishmentMeans: introduced for a stocked fish, else empty", func(o occurrence) string {
			if o.fish.Origin == trial.Stocked {
				return "introduced"
			}
			return ""
		}),
		derived("degreeOfEstablishment", "dwc:degreeOfEstablishment: released for a stocked fish, else empty", func(o occurrence) string {
			if o.fish.Origin == trial.Stocked {
				return "released"
			}
			return ""
		}),
		number(derived("decimalLatitude", "dwc:decimalLatitude of the cell's middle", func(o occurrence) string { return cellOf(o.outing.Cell).latitude }), "number", "degree"),
		number(derived("decimalLongitude", "dwc:decimalLongitude of the cell's middle", func(o occurrence) string { return cellOf(o.outing.Cell).longitude }), "number", "degree"),
		derived("geodeticDatum", "dwc:geodeticDatum", func(o occurrence) string {
			if o.outing.Cell == "" {
				return ""
			}
			return "EPSG:4326"
		}),
		number(derived("coordinateUncertaintyInMeters", "dwc:coordinateUncertaintyInMeters (Chapman and Wieczorek 2020, Georeferencing Best Practices, GBIF)", func(o occurrence) string { return cellOf(o.outing.Cell).uncertainty }), "integer", "m"),
		derived("dataGeneralizations", "dwc:dataGeneralizations", func(o occurrence) string {
			text := "date given as its week, length in whole centimetres"
			if c := cellOf(o.outing.Cell); c.size != "" {
				text += ", place as a cell of " + c.size + " degree"
			}
			return text
		}),
		derived("informationWithheld", "dwc:informationWithheld", func(o occurrence) string {
			text := "angler's name, name of the water, exact place and time"
			for _, what := range o.fish.Withheld {
				text += ", " + what
			}
			if strings.Contains(strings.Join(o.outing.Withheld, " "), "cell") {
				text += ", cell"
			}
			return text
		}),
		derived("dynamicProperties", "dwc:dynamicProperties: measurements as a JSON object", func(o occurrence) string {
			text := fmt.Sprintf(`{"taken":"%s","arrangement":"%s"`, o.fish.Taken, o.fish.Arrangement)
			if o.fish.LengthCM != nil {
				text += `,"lengthInCentimetres":` + strconv.Itoa(*o.fish.LengthCM)
			}
			return text + "}"
		}),
	}
}

func idText(id trial.ID) string {
	if id.IsZero() {
		return ""
	}
	return id.String()
}

// weekDays are a week's first and last day; empty for no week.
func weekDays(week string) string {
	first, ok := trial.WeekDay(week, 1)
	if !ok {
		return ""
	}
	last, _ := trial.WeekDay(week, 7)
	return first.Format("2006-01-02") + "/" + last.Format("2006-01-02")
}

// cell is a place as Darwin Core has it.
type cell struct{ latitude, longitude, uncertainty, size string }

var cellForm = regexp.MustCompile(`^([0-9]{1,2})(\.[0-9]{1,2})?([NS]) ([0-9]{1,3})(\.[0-9]{1,2})?([EW])$`)

// cellOf reads the words of a cell: its south-west corner, with one digit after the point for cells of 0.1 degree and two for 0.01.
// Uncertainty is that of Chapman and Wieczorek 2020 for coordinates given to so many digits: 15691 m and 1570 m.
func cellOf(text string) cell {
	m := cellForm.FindStringSubmatch(text)
	if m == nil {
		return cell{}
	}
	digits := max(len(m[2]), len(m[5])) - 1
	half, c := .05, cell{uncertainty: "15691", size: "0.1"}
	if digits == 2 {
		half, c = .005, cell{uncertainty: "1570", size: "0.01"}
	}
	middle := func(whole, fraction, side, negative string) string {
		x, _ := strconv.ParseFloat(cmp.Or(whole, "0")+fraction, 64)
		if side == negative {
			x = -x
		}
		return strconv.FormatFloat(x+half, 'f', max(digits, 1)+1, 64)
	}
	c.latitude, c.longitude = middle(m[1], m[2], m[3], "S"), middle(m[4], m[5], m[6], "W")
	return c
}
