package api_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

// A person's data comes as JSON or as tables, only with a credential for the account, and only one's own.
func TestOwnDataByHTTP(t *testing.T) {
	w := newWorld(t)
	c := w.newClub("Wend Fly Fishers")
	e := c.opened(c.ruleSheet())
	r := e.join("Bert")
	_, _, period := r.inAPeriod()
	fish := r.land(period.ID, "C")

	whole := r.send("GET", "/v1/me/data", "")
	var data map[string]any
	if err := json.Unmarshal(whole.body, &data); err != nil || whole.status != 200 || !strings.Contains(string(whole.body), fish.String()) {
		t.Fatalf("own data answered %d, %v: %.300s", whole.status, err, whole.body)
	}
	if got := whole.header.Get("Content-Disposition"); got != `attachment; filename="own-data.json"` {
		t.Errorf("Content-Disposition: %s", got)
	}
	tables := r.send("GET", "/v1/me/data?format=csv", "")
	if _, err := zip.NewReader(bytes.NewReader(tables.body), int64(len(tables.body))); err != nil || tables.header.Get("Content-Type") != "application/zip" {
		t.Errorf("tables answered %d %s: %v", tables.status, tables.header.Get("Content-Type"), err)
	}
	if bad := r.send("GET", "/v1/me/data?format=pdf", ""); bad.status != 422 {
		t.Errorf("another format answered %d %s", bad.status, bad.body)
	}
	if other := e.join("Cleo").send("GET", "/v1/me/data", ""); strings.Contains(string(other.body), fish.String()) {
		t.Error("another angler's data holds the fish")
	}
	if none := w.person("").send("GET", "/v1/me/data", ""); none.status != 401 {
		t.Errorf("a stranger was answered %d", none.status)
	}
}
