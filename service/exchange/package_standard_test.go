package exchange

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"evenrig/service/trial"
)

const packageData = "../../testdata/package/"

// The descriptor fits the JSON Schemas of the standard (Data Package and Table Schema, version 2.0), every table fits its own schema, and
// keys and foreign keys hold.
func TestDescriptorFollowsTheStandard(t *testing.T) {
	files := filesOf(t, written(t, play(t, smallTrial()).publish()))
	descriptor, err := jsonschema.UnmarshalJSON(strings.NewReader(files[fileDescriptor]))
	if err != nil {
		t.Fatal(err)
	}
	fits(t, "datapackage-2.0.json", descriptor)
	var read struct {
		Resources []struct {
			Name, Path string
			Schema     *tableSchema
		}
	}
	if err := json.Unmarshal([]byte(files[fileDescriptor]), &read); err != nil {
		t.Fatal(err)
	}
	keys := map[string]map[string]bool{}
	for i, r := range read.Resources {
		if files[r.Path] == "" {
			t.Errorf("%s is described and not there", r.Path)
		}
		if r.Schema == nil {
			continue
		}
		fits(t, "tableschema-2.0.json", descriptor.(map[string]any)["resources"].([]any)[i].(map[string]any)["schema"])
		keys[r.Name] = fitsTable(t, r.Name, files[r.Path], *r.Schema)
	}
	for _, r := range read.Resources {
		if r.Schema == nil {
			continue
		}
		records, _ := csv.NewReader(strings.NewReader(files[r.Path])).ReadAll()
		for _, foreign := range r.Schema.ForeignKeys {
			for _, record := range records[1:] {
				if value := valueOf(records[0], record, foreign.Fields); strings.Trim(value, "\x00") != "" && !keys[foreign.Reference.Resource][value] {
					t.Errorf("%s: %s %q is no row of %s", r.Name, foreign.Fields, value, foreign.Reference.Resource)
				}
			}
		}
	}
}

func fits(t *testing.T, schema string, value any) {
	t.Helper()
	compiler := jsonschema.NewCompiler()
	compiler.UseRegexpEngine(func(pattern string) (jsonschema.Regexp, error) {
		if strings.Contains(pattern, "(?") { // the standard's one pattern that looks ahead: of paths
			return safePath{}, nil
		}
		return regexp.Compile(pattern)
	})
	compiled, err := compiler.Compile(packageData + schema)
	if err != nil {
		t.Fatal(err)
	}
	if err := compiled.Validate(value); err != nil {
		t.Errorf("%s: %v", schema, err)
	}
}

// safePath is the standard's pattern of a path, which Go's regular expressions cannot say: relative, without going up, or an address.
type safePath struct{}

func (safePath) String() string { return "a relative path that does not go up, or an address" }

func (safePath) MatchString(path string) bool {
	if regexp.MustCompile(`^(http|ftp)s?://`).MatchString(path) {
		return true
	}
	return path != "" && !strings.ContainsAny(path[:1], "./~") && !strings.HasPrefix(path, "file:") && !strings.Contains(path, "/../") && !strings.Contains(path, `\`) && !strings.Contains(path, "://")
}

func valueOf(header, record, columns []string) string {
	values := make([]string, len(columns))
	for i, c := range columns {
		values[i] = record[slices.Index(header, c)]
	}
	return strings.Join(values, "\x00")
}

// fitsTable holds a table against its schema by the rules of Table Schema, and returns the values of its primary key.
func fitsTable(t *testing.T, name, text string, schema tableSchema) map[string]bool {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	keys := map[string]bool{}
	for i, f := range schema.Fields {
		if records[0][i] != f.Name {
			t.Errorf("%s: column %d is %s, described as %s", name, i, records[0][i], f.Name)
		}
		seen := map[string]bool{}
		for _, record := range records[1:] {
			value := record[i]
			if value == "" {
				if f.Constraints != nil && f.Constraints.Required {
					t.Errorf("%s.%s is required and empty", name, f.Name)
				}
				continue
			}
			if !isOfType(value, f.Type) {
				t.Errorf("%s.%s: %q is no %s", name, f.Name, value, f.Type)
			}
			c := f.Constraints
			if c == nil {
				continue
			}
			n, _ := strconv.Atoi(value)
			if c.Unique && seen[value] || c.Minimum != nil && n < *c.Minimum || len(c.Enum) > 0 && !slices.Contains(c.Enum, value) ||
				c.Pattern != "" && !regexp.MustCompile("^(?:"+c.Pattern+")$").MatchString(value) {
				t.Errorf("%s.%s: %q breaks its constraints", name, f.Name, value)
			}
			seen[value] = true
		}
	}
	for _, record := range records[1:] {
		value := valueOf(records[0], record, schema.PrimaryKey)
		if keys[value] {
			t.Errorf("%s: the key %q stands twice", name, value)
		}
		keys[value] = true
	}
	return keys
}

func isOfType(value, kind string) bool {
	switch kind {
	case "integer":
		_, err := strconv.Atoi(value)
		return err == nil
	case "number":
		_, err := strconv.ParseFloat(value, 64)
		return err == nil
	case "boolean":
		return value == "true" || value == "false"
	case "array":
		var list []any
		return json.Unmarshal([]byte(value), &list) == nil
	}
	return kind == "string"
}

// Terms of Darwin Core as its reference guide lists them (https://dwc.tdwg.org/terms/, from memory).
func TestOccurrencesUseTermsOfDarwinCore(t *testing.T) {
	terms := strings.Fields(`occurrenceID catalogNumber eventID parentEventID basisOfRecord eventDate samplingProtocol sampleSizeValue sampleSizeUnit samplingEffort
		recordedBy individualCount scientificName occurrenceStatus establishmentMeans degreeOfEstablishment decimalLatitude decimalLongitude geodeticDatum
		coordinateUncertaintyInMeters dataGeneralizations informationWithheld dynamicProperties`)
	for _, c := range occurrenceTable().columns {
		if !slices.Contains(terms, c.name) {
			t.Errorf("%s is no term", c.name)
		}
	}
	for _, c := range []struct{ text, latitude, longitude, uncertainty string }{
		{"54.1N 2.3W", "54.15", "-2.25", "15691"}, // metres: Chapman and Wieczorek 2020, Georeferencing Best Practices
		{"54.12N 2.34W", "54.125", "-2.335", "1570"},
		{"33.9S 18.4E", "-33.85", "18.45", "15691"},
		{"", "", "", ""},
	} {
		if got := cellOf(c.text); got.latitude != c.latitude || got.longitude != c.longitude || got.uncertainty != c.uncertainty {
			t.Errorf("%q: %+v", c.text, got)
		}
	}
	if got := weekDays("2026-W36"); got != "2026-08-31/2026-09-06" { // ISO 8601
		t.Errorf("week 36 of 2026 is %s", got)
	}
}

// Hashes that another program made from the definitions alone; see the data's README.
func TestHashesAreTheDefined(t *testing.T) {
	var v struct {
		Trial, Chain, Subject trial.ID
		Kind                  string
		N                     int64
		Previous, Salt        trial.Digest
		PrivateSalt           trial.Digest `json:"private_salt"`
		Public, Private       string
		PublicDigest          trial.Digest `json:"public_digest"`
		PrivateDigest         trial.Digest `json:"private_digest"`
		Hash                  trial.Digest
		Heads                 []struct {
			Chain      trial.ID
			N          int64
			Hash, Leaf trial.Digest
		}
		Roots, Checkpoints                  []trial.Digest
		Seed, Fingerprint, Commitment, Code trial.Digest
		Words                               []string
		Sizes                               []int
		Orders                              []trial.Arrangement
	}
	text, err := os.ReadFile(packageData + "vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	head := trial.Head{TrialID: v.Trial, ChainID: v.Chain, N: v.N - 1, Hash: v.Previous}
	entry := head.Next(v.Kind, v.Subject, trial.Parts{Public: []byte(v.Public), PublicSalt: v.Salt, Private: []byte(v.Private), PrivateSalt: v.PrivateSalt})
	if entry.PublicDigest != v.PublicDigest || entry.PrivateDigest != v.PrivateDigest || entry.Hash != v.Hash {
		t.Errorf("entry: %s %s %s, want %s %s %s", entry.PublicDigest, entry.PrivateDigest, entry.Hash, v.PublicDigest, v.PrivateDigest, v.Hash)
	}
	var leaves []trial.Digest
	var heads []trial.Head
	for i, h := range v.Heads {
		heads = append(heads, trial.Head{ChainID: h.Chain, N: h.N, Hash: h.Hash})
		if leaves = append(leaves, heads[i].Leaf()); leaves[i] != h.Leaf {
			t.Errorf("leaf %d is %s, want %s", i, leaves[i], h.Leaf)
		}
	}
	for n, want := range v.Roots {
		if got := trial.LeavesRoot(leaves[:n]); got != want || trial.HeadsRoot(heads[:n]) != want {
			t.Errorf("root of %d leaves is %s, want %s", n, got, want)
		}
	}
	first := trial.NextCheckpoint(v.Trial, nil, heads[:3], packageTime)
	if second := trial.NextCheckpoint(v.Trial, &first, heads, packageTime); first.Hash != v.Checkpoints[0] || second.Hash != v.Checkpoints[1] {
		t.Errorf("checkpoints %s, %s, want %s", first.Hash, second.Hash, v.Checkpoints)
	}
	if got := trial.Digest(trial.CommitmentTo(v.Seed, v.Fingerprint)); got != v.Commitment {
		t.Errorf("commitment %s, want %s", got, v.Commitment)
	}
	draw := trial.Draw{Method: trial.PermutedBlocks, GroupSizes: v.Sizes}
	if got := draw.Orders(trial.AllocationKey(v.Seed, v.Words, v.Chain, v.Code), len(v.Orders)); !slices.Equal(got, v.Orders) {
		t.Errorf("orders %v, want %v", got, v.Orders)
	}
}
