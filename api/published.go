package api

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// GetPublished returns a published trial, to anybody.
func (h *handlers) GetPublished(ctx context.Context, r openapi.GetPublishedRequestObject) (openapi.GetPublishedResponseObject, error) {
	view, err := h.service.Published(ctx, trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	return openapi.GetPublished200JSONResponse(publishedFrom(view)), nil
}

func publishedFrom(v conduct.PublishedView) openapi.PublishedTrial {
	// While none stands, the last one still tells the trial's title and licence, and no result.
	told := v.Editions[len(v.Editions)-1]
	p := openapi.PublishedTrial{
		Trial: openapi_types.UUID(v.Trial.ID), Title: told.Title, Question: told.Question, Club: told.Club, Remarks: told.Remarks,
		Licence: told.Licence, Sentence: v.Current.Sentence, Edition: v.Current.Edition, Anglers: v.Current.Anglers, Fish: v.Current.Fish,
		Package: digestOrNil(v.Current.Package), Address: packageAddress(v.Trial.ID), RepeatOf: idOrNil(v.RepeatOf),
		Repeats: each(v.Repeats, func(id trial.ID) openapi_types.UUID { return openapi_types.UUID(id) }),
		Editions: each(v.Editions, func(e trial.Publication) openapi.PublishedEdition {
			return openapi.PublishedEdition{
				Edition: e.Edition, Withdrawn: e.State == trial.EditionWithdrawn, Week: trial.WeekOf(*e.MadeAt), Why: e.Why, Package: e.Package.String(), Size: e.Size,
			}
		}),
	}
	for _, l := range conduct.Licences() {
		if l.ID == told.Licence {
			p.LicenceName, p.LicenceURL = l.Name, l.URL
		}
	}
	return p
}

func packageAddress(id trial.ID) string { return fmt.Sprintf("/v1/published/%s/package.zip", id) }

// GetPackage answers with the request at hand, which the generated interface does not pass on and a part of a package takes.
func (o operations) GetPackage(c echo.Context, t openapi.TrialID, p openapi.GetPackageParams) error {
	ctx := context.WithValue(c.Request().Context(), requestKey{}, c.Request())
	answer, err := o.handlers.GetPackage(ctx, openapi.GetPackageRequestObject{Trial: t, Params: p})
	if err != nil {
		return err
	}
	return answer.VisitGetPackageResponse(c.Response())
}

type requestKey struct{}

// GetPackage returns the bytes of a package, or a part of them.
func (h *handlers) GetPackage(ctx context.Context, r openapi.GetPackageRequestObject) (openapi.GetPackageResponseObject, error) {
	e, bytes, err := h.service.OpenPackage(ctx, trial.ID(r.Trial), or(r.Params.Edition, 0))
	if err != nil {
		return nil, err
	}
	request, _ := ctx.Value(requestKey{}).(*http.Request)
	return packageFile{request, e, bytes}, nil
}

// packageFile is a package on its way out.
type packageFile struct {
	request *http.Request
	edition trial.Publication
	bytes   *conduct.PackageReader
}

// VisitGetPackageResponse writes what was asked for: the package, a part of it, or that it is the one that the reader has. Every reader
// asks again whether it still stands.
func (f packageFile) VisitGetPackageResponse(w http.ResponseWriter) error {
	published(w, fmt.Sprintf(`"%s"`, f.edition.Package))
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="two-fly-trial-%s-edition-%d.zip"`, f.edition.TrialID, f.edition.Edition))
	parts := &partWriter{ResponseWriter: w}
	http.ServeContent(parts, f.request, "", time.Time{}, f.bytes)
	if parts.none {
		w.Header().Del("Content-Type")
		w.Header().Del("Content-Disposition")
		return refuse(http.StatusRequestedRangeNotSatisfiable, "range.none", "the package has %d bytes; accepted: a Range of whole numbers within them", f.edition.Size)
	}
	return nil
}

// partWriter keeps the plain words of net/http about a part that is not there from being sent.
type partWriter struct {
	http.ResponseWriter
	none bool
}

// WriteHeader implements http.ResponseWriter.
func (w *partWriter) WriteHeader(status int) {
	if w.none = status == http.StatusRequestedRangeNotSatisfiable; !w.none {
		w.ResponseWriter.WriteHeader(status)
	}
}

// Write implements http.ResponseWriter.
func (w *partWriter) Write(b []byte) (int, error) {
	if w.none {
		return len(b), nil
	}
	return w.ResponseWriter.Write(b)
}

// published sets what every published file is answered with: others' pages may read it, caches keep it and ask again each time.
func published(w http.ResponseWriter, etag string) {
	h := w.Header()
	h.Set("Cache-Control", "public, no-cache")
	h.Set("Cross-Origin-Resource-Policy", "cross-origin")
	h.Set("ETag", etag)
}

// GetPackageWorkbook returns a package's tables as a workbook.
func (h *handlers) GetPackageWorkbook(ctx context.Context, r openapi.GetPackageWorkbookRequestObject) (openapi.GetPackageWorkbookResponseObject, error) {
	return workbook{"two-fly-trial", trial.ID(r.Trial), func(w io.Writer) error { return h.service.PublishedWorkbook(ctx, trial.ID(r.Trial), w) }}, nil
}

// GetPublishedResult returns the result of a package.
func (h *handlers) GetPublishedResult(ctx context.Context, r openapi.GetPublishedResultRequestObject) (openapi.GetPublishedResultResponseObject, error) {
	e, text, err := h.service.PublishedResult(ctx, trial.ID(r.Trial))
	return publishedText{unchanged{textTag("result", e), "application/json", r.Params.IfNoneMatch, text}}, err
}

// GetPublishedReport returns the report of a package.
func (h *handlers) GetPublishedReport(ctx context.Context, r openapi.GetPublishedReportRequestObject) (openapi.GetPublishedReportResponseObject, error) {
	e, text, err := h.service.PublishedReport(ctx, trial.ID(r.Trial))
	return publishedText{unchanged{textTag("report", e), "text/html; charset=utf-8", r.Params.IfNoneMatch, text}}, err
}

func textTag(what string, e trial.Publication) string { return fmt.Sprintf(`"%s-%s"`, what, e.Package) }

// publishedText is a file out of a package.
type publishedText struct{ unchanged }

// VisitGetPublishedResultResponse writes the result's bytes.
func (p publishedText) VisitGetPublishedResultResponse(w http.ResponseWriter) error {
	published(w, p.etag)
	return p.write(w)
}

// VisitGetPublishedReportResponse writes the page, which may use its own style sheet and nothing else.
func (p publishedText) VisitGetPublishedReportResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Security-Policy", conduct.ReportPolicy+"; frame-ancestors 'none'")
	published(w, p.etag)
	return p.write(w)
}

// FindFish looks in a package for the records of which somebody holds receipts.
func (h *handlers) FindFish(ctx context.Context, r openapi.FindFishRequestObject) (openapi.FindFishResponseObject, error) {
	found, err := h.service.FindFish(ctx, trial.ID(r.Trial), string(*r.Body))
	if err != nil {
		return nil, err
	}
	return openapi.FindFish200JSONResponse{Items: each(found, func(f conduct.FoundFish) openapi.FoundFish {
		return openapi.FoundFish{Receipt: f.Receipt, Found: f.Found, Kind: f.Kind, Angler: f.Angler, Entry: f.Entry, Text: f.Text, Proven: f.Proven}
	})}, nil
}
