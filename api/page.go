package api

import (
	"fmt"
	"strconv"
	"strings"

	"evenrig/openapi"
	"evenrig/service/trial"
)

// A page has usualPage records unless asked for, longestPage at most.
const (
	usualPage   = 100
	longestPage = 500
)

// page is what a request wants of a long list. It asks the store for one record more than it shows, to know whether
// there is a next page.
type page struct {
	after trial.ID
	limit int
}

func pageOf(after *openapi.After, limit *openapi.Limit) (page, error) {
	p := page{limit: usualPage}
	if after != nil {
		p.after = trial.ID(*after)
	}
	if limit != nil {
		p.limit = *limit
	}
	if p.limit < 1 || p.limit > longestPage {
		var f trial.Faults
		f.Add("limit", "is %d; accepted: 1 to %d", p.limit, longestPage)
		return p, f.Err("request.invalid", "the request has faults")
	}
	return p, nil
}

func (p page) toTrial() trial.Page { return trial.Page{After: p.after, Limit: p.limit + 1} }

// cut returns the records of the page and the Link to the next one at path, nil when there is none. id tells a record's.
func cut[T any](p page, records []T, id func(T) trial.ID, path string, args ...any) ([]T, *string) {
	if len(records) <= p.limit {
		return records, nil
	}
	records = records[:p.limit]
	link := fmt.Sprintf(`<%s?after=%s&limit=%d>; rel="next"`, fmt.Sprintf(path, args...), id(records[p.limit-1]), p.limit)
	return records, &link
}

// each converts a list; it is never nil, so that an empty one is written as [].
func each[T, U any](list []T, convert func(T) U) []U {
	converted := make([]U, len(list))
	for i, v := range list {
		converted[i] = convert(v)
	}
	return converted
}

// etag writes a version as an ETag.
func etag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// seenVersion reads the version that a correction's If-Match names.
func seenVersion(ifMatch string) (int, error) {
	inner, ok := strings.CutPrefix(ifMatch, `"`)
	inner, closed := strings.CutSuffix(inner, `"`)
	version, err := strconv.Atoi(inner)
	if !ok || !closed || err != nil || version < 1 {
		var f trial.Faults
		f.Add("If-Match", `is %s; accepted: the ETag you last read, like "3"`, quoted(ifMatch))
		return 0, f.Err("request.invalid", "the request has faults")
	}
	return version, nil
}
