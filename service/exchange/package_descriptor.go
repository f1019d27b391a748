package exchange

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"evenrig/service/trial"
)

// Licence is a licence under which a package is published.
type Licence struct {
	ID    string // SPDX
	Name  string
	URL   string
	Terms string // in a sentence, for people; the text at URL is what holds
}

// Licences lists what a package can be published under.
func Licences() []Licence {
	return []Licence{
		{
			CCBY4, "Creative Commons Attribution 4.0 International", "https://creativecommons.org/licenses/by/4.0/legalcode",
			"You may copy, change and use the data for any purpose, commercial too, as long as you say whose they are, link to the licence and say what you changed.",
		},
		{
			CC0, "Creative Commons Zero v1.0 Universal", "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
			"The club gives up its rights in the data as far as the law lets it: you may copy, change and use them for any purpose without asking. Saying where they come from is a courtesy.",
		},
	}
}

func licenceOf(id string) (Licence, error) {
	var f trial.Faults
	var ids []string
	for _, l := range Licences() {
		if l.ID == id {
			return l, nil
		}
		ids = append(ids, l.ID)
	}
	trial.OneOf(&f, "licence", id, ids...)
	return Licence{}, f.Err("publish.invalid", "the trial cannot be published so")
}

// descriptor is datapackage.json: a Data Package with a Table Schema for every table, by version 2.0 of that standard
// (https://datapackage.org/standard/).
type descriptor struct {
	Schema      string               `json:"$schema"`
	Name        string               `json:"name"`
	ID          string               `json:"id"`
	Title       string               `json:"title"`
	Description string               `json:"description"`
	Version     string               `json:"version"`
	Keywords    []string             `json:"keywords"`
	Licences    []descriptorLicence  `json:"licenses"`
	Resources   []descriptorResource `json:"resources"`
}

type descriptorLicence struct {
	Name  string `json:"name"`
	Path  string `json:"path"`
	Title string `json:"title"`
}

type descriptorResource struct {
	Name        string             `json:"name"`
	Type        string             `json:"type,omitempty"`
	Path        string             `json:"path"`
	Title       string             `json:"title"`
	Format      string             `json:"format"`
	MediaType   string             `json:"mediatype"`
	Encoding    string             `json:"encoding"`
	Dialect     *descriptorDialect `json:"dialect,omitempty"`
	TableSchema *tableSchema       `json:"schema,omitempty"`
}

type descriptorDialect struct {
	Delimiter      string `json:"delimiter"`
	LineTerminator string `json:"lineTerminator"`
	DoubleQuote    bool   `json:"doubleQuote"`
	Header         bool   `json:"header"`
}

type tableSchema struct {
	Schema        string           `json:"$schema"`
	Fields        []schemaField    `json:"fields"`
	MissingValues []string         `json:"missingValues"`
	PrimaryKey    []string         `json:"primaryKey"`
	ForeignKeys   []schemaRelation `json:"foreignKeys,omitempty"`
}

type schemaField struct {
	Name        string            `json:"name"`
	Type        string            `json:"type"`
	Title       string            `json:"title"`
	Unit        string            `json:"unit,omitempty"`
	Constraints *schemaConstraint `json:"constraints,omitempty"`
}

type schemaConstraint struct {
	Required bool     `json:"required,omitempty"`
	Unique   bool     `json:"unique,omitempty"`
	Minimum  *int     `json:"minimum,omitempty"`
	Pattern  string   `json:"pattern,omitempty"`
	Enum     []string `json:"enum,omitempty"`
}

type schemaRelation struct {
	Fields    []string        `json:"fields"`
	Reference schemaReference `json:"reference"`
}

type schemaReference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

// descriptorText is datapackage.json of a package.
func descriptorText(p Package) ([]byte, error) {
	licence, err := licenceOf(p.Facts.Licence)
	if err != nil {
		return nil, err
	}
	d := descriptor{
		Schema: "https://datapackage.org/profiles/2.0/datapackage.json", Name: "two-fly-trial-" + p.Facts.Trial.String(), ID: "urn:uuid:" + p.Facts.Trial.String(),
		Title: p.Facts.Title, Description: p.Facts.Question, Version: strconv.Itoa(p.Facts.Edition) + ".0.0",
		Keywords: []string{"angling", "fly fishing", "paired trial"},
		Licences: []descriptorLicence{{licence.ID, licence.URL, licence.Name}},
	}
	for _, t := range packageTables() {
		d.Resources = append(d.Resources, t.resource())
	}
	dictionary := descriptorResource{
		Name: "dictionary", Type: "table", Path: "dictionary.csv", Title: "every column of every table", Format: "csv", MediaType: "text/csv", Encoding: "utf-8", Dialect: csvDialect(),
		TableSchema: &tableSchema{Schema: schemaProfile, MissingValues: []string{""}, PrimaryKey: []string{"table", "column"}},
	}
	for _, name := range dictionaryHeader {
		dictionary.TableSchema.Fields = append(dictionary.TableSchema.Fields, schemaField{Name: name, Type: "string", Title: name})
	}
	d.Resources = append(d.Resources, dictionary)
	for _, f := range []struct{ name, path, title, format, media string }{
		{"result", fileResult, "the result, byte for byte as it was computed", "json", "application/json"},
		{"plan", filePlan, "the rule sheet as it may be published", "json", "application/json"},
		{"report", fileReport, "the report", "html", "text/html"},
	} {
		d.Resources = append(d.Resources, descriptorResource{Name: f.name, Path: f.path, Title: f.title, Format: f.format, MediaType: f.media, Encoding: "utf-8"})
	}
	text, err := json.MarshalIndent(d, "", "  ")
	return append(text, '\n'), err
}

const schemaProfile = "https://datapackage.org/profiles/2.0/tableschema.json"

func csvDialect() *descriptorDialect { return &descriptorDialect{",", "\r\n", true, true} }

func (t packageTable) resource() descriptorResource {
	schema := &tableSchema{Schema: schemaProfile, MissingValues: []string{""}, PrimaryKey: t.key}
	for _, c := range t.columns {
		f := schemaField{Name: c.name, Type: c.kind, Title: c.meaning, Unit: c.unit}
		if limits := (schemaConstraint{c.need, c.unique, c.least, c.pattern, c.words}); c.need || c.unique || c.least != nil || c.pattern != "" || len(c.words) > 0 {
			f.Constraints = &limits
		}
		schema.Fields = append(schema.Fields, f)
	}
	for _, k := range t.foreign {
		schema.ForeignKeys = append(schema.ForeignKeys, schemaRelation{k.fields, schemaReference{k.table, k.names}})
	}
	return descriptorResource{
		Name: t.name, Type: "table", Path: t.name + ".csv", Title: t.about, Format: "csv", MediaType: "text/csv", Encoding: "utf-8", Dialect: csvDialect(), TableSchema: schema,
	}
}

var dictionaryHeader = []string{"table", "column", "type", "unit", "accepted", "needed", "missing", "meaning"}

// writeDictionary writes dictionary.csv: every column of every table in plain words.
func writeDictionary(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	if err := out.Write(dictionaryHeader); err != nil {
		return err
	}
	for record := range dictionaryRecords() {
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func dictionaryRecords() Rows[[]string] {
	return func(yield func([]string, error) bool) {
		for _, t := range packageTables() {
			for _, c := range t.columns {
				accepted, needed, missing := strings.Join(c.words, " "), "yes", ""
				switch {
				case accepted != "":
				case c.pattern != "":
					accepted = guard(c.pattern)
				case c.least != nil:
					accepted = fmt.Sprintf("%d or more", *c.least)
				}
				if !c.need {
					needed, missing = "no", "empty"
				}
				if !yield([]string{t.name, c.name, c.kind, c.unit, accepted, needed, missing, c.meaning}, nil) {
					return
				}
			}
		}
	}
}
