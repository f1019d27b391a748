package api

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"

	"evenrig/openapi"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// ExportCatches writes the catch table of a locked trial.
func (h *handlers) ExportCatches(ctx context.Context, r openapi.ExportCatchesRequestObject) (openapi.ExportCatchesResponseObject, error) {
	return tableDownload(func(w io.Writer) error { return h.service.ExportCatches(ctx, actorOf(ctx), trial.ID(r.Trial), w) }), nil
}

// tableDownload writes a table while it is being read.
type tableDownload func(io.Writer) error

// VisitExportCatchesResponse writes the table.
func (d tableDownload) VisitExportCatchesResponse(w http.ResponseWriter) error {
	return stream(w, "text/csv; charset=utf-8", d)
}

// ExportWorkbook writes the catch table of a locked trial as a workbook.
func (h *handlers) ExportWorkbook(ctx context.Context, r openapi.ExportWorkbookRequestObject) (openapi.ExportWorkbookResponseObject, error) {
	return workbook{"catches", trial.ID(r.Trial), func(w io.Writer) error { return h.service.ExportWorkbook(ctx, actorOf(ctx), trial.ID(r.Trial), w) }}, nil
}

// workbook is made while it is answered.
type workbook struct {
	name  string
	trial trial.ID
	write func(io.Writer) error
}

// VisitExportWorkbookResponse writes the workbook.
func (b workbook) VisitExportWorkbookResponse(w http.ResponseWriter) error { return b.send(w) }

// VisitGetPackageWorkbookResponse writes the workbook.
func (b workbook) VisitGetPackageWorkbookResponse(w http.ResponseWriter) error { return b.send(w) }

func (b workbook) send(w http.ResponseWriter) error {
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s-%s.xlsx"`, b.name, b.trial))
	return stream(w, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", b.write)
}

// ImportTable takes in a catch table.
func (h *handlers) ImportTable(ctx context.Context, r openapi.ImportTableRequestObject) (openapi.ImportTableResponseObject, error) {
	view, err := h.service.ImportTable(ctx, actorOf(ctx), trial.ID(r.Trial), r.Body, r.Params.DryRun)
	if err != nil {
		return nil, err
	}
	if !r.Params.DryRun && view.FaultsTotal > 0 {
		return nil, refusedTable(view)
	}
	report := openapi.ImportReport{
		DryRun: r.Params.DryRun, File: view.File.String(), Rows: view.Rows, Anglers: view.Anglers, Saved: view.Saved,
		AlreadyImported: view.AlreadyImported, Faults: make([]openapi.ImportFault, len(view.Faults)), FaultsTotal: view.FaultsTotal,
	}
	for i, fault := range view.Faults {
		report.Faults[i] = openapi.ImportFault{Line: fault.Line, Column: fault.Column, Value: fault.Value, Reason: fault.Reason}
	}
	if view.Saved {
		return openapi.ImportTable201JSONResponse(report), nil
	}
	return openapi.ImportTable200JSONResponse(report), nil
}

// refusedTable says in earnest what a dry run lists: nothing was saved, and why.
func refusedTable(view conduct.ImportView) error {
	var f trial.Faults
	for _, fault := range view.Faults {
		field := fmt.Sprintf("line %d", fault.Line)
		if fault.Column != "" {
			field += " " + fault.Column
		}
		f.Add(field, "%s: %s", quoted(fault.Value), fault.Reason)
	}
	return f.Err("import.invalid", fmt.Sprintf("%d of the table's rows have faults; nothing was saved", view.FaultsTotal))
}

// RequestAnalysis asks for an analysis.
func (h *handlers) RequestAnalysis(ctx context.Context, r openapi.RequestAnalysisRequestObject) (openapi.RequestAnalysisResponseObject, error) {
	a, err := h.service.RequestAnalysis(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	answer, err := h.withJob(ctx, a)
	if err != nil {
		return nil, err
	}
	return openapi.RequestAnalysis202JSONResponse{
		Body:    answer,
		Headers: openapi.RequestAnalysis202ResponseHeaders{Location: analysisAddress(a.TrialID, a.N)},
	}, nil
}

// ListAnalyses lists a trial's analyses.
func (h *handlers) ListAnalyses(ctx context.Context, r openapi.ListAnalysesRequestObject) (openapi.ListAnalysesResponseObject, error) {
	list, err := h.service.Analyses(ctx, actorOf(ctx), trial.ID(r.Trial))
	if err != nil {
		return nil, err
	}
	items := make([]openapi.Analysis, len(list))
	for i, a := range list {
		if items[i], err = h.withJob(ctx, a); err != nil {
			return nil, err
		}
	}
	return openapi.ListAnalyses200JSONResponse{Items: items}, nil
}

// GetAnalysis returns a result as it was stored.
func (h *handlers) GetAnalysis(ctx context.Context, r openapi.GetAnalysisRequestObject) (openapi.GetAnalysisResponseObject, error) {
	a, err := h.service.Analysis(ctx, actorOf(ctx), trial.ID(r.Trial), r.N)
	if err != nil {
		return nil, err
	}
	switch a.State {
	case trial.Done:
		return storedResult{unchanged{fmt.Sprintf(`"%d-%s"`, a.N, a.Fingerprint), "application/json", r.Params.IfNoneMatch, a.Result}}, nil
	case trial.Failed:
		return nil, trial.Fail(trial.Conflict, "analysis.failed", "analysis %d failed: %s", a.N, a.Failure)
	}
	answer, err := h.withJob(ctx, a)
	if err != nil {
		return nil, err
	}
	return openapi.GetAnalysis202JSONResponse{Body: answer, Headers: openapi.GetAnalysis202ResponseHeaders{RetryAfter: 1}}, nil
}

// storedResult is written as the bytes that were stored: decoding and encoding them again would make them the server's
// version of today.
type storedResult struct{ unchanged }

// VisitGetAnalysisResponse writes the result. A browser may keep it and asks each time whether it may still be read.
func (r storedResult) VisitGetAnalysisResponse(w http.ResponseWriter) error {
	w.Header().Set("Cache-Control", "private, no-cache")
	return r.write(w)
}

// GetReport returns a result as a page.
func (h *handlers) GetReport(ctx context.Context, r openapi.GetReportRequestObject) (openapi.GetReportResponseObject, error) {
	var b bytes.Buffer
	if err := h.service.Report(ctx, actorOf(ctx), trial.ID(r.Trial), r.N, conduct.ReportPage, &b); err != nil {
		return nil, err
	}
	return reportPage(b.Bytes()), nil
}

// reportPage is written with a policy under which it may use its own style sheet and nothing else.
type reportPage []byte

// VisitGetReportResponse writes the page.
func (p reportPage) VisitGetReportResponse(w http.ResponseWriter) error {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", conduct.ReportPolicy+"; frame-ancestors 'none'")
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(p)
	return err
}

func analysisAddress(t trial.ID, n int) string { return fmt.Sprintf("/v1/trials/%s/analyses/%d", t, n) }

func analysisFrom(a trial.Analysis) openapi.Analysis {
	return openapi.Analysis{
		N: a.N, State: openapi.AnalysisState(a.State), Address: analysisAddress(a.TrialID, a.N), Checkpoint: a.Checkpoint, RequestedAt: a.RequestedAt,
		FinishedAt: a.FinishedAt, ProtocolVersion: a.ProtocolVersion, ProgramVersion: a.ProgramVersion, Fingerprint: digestOrNil(a.Fingerprint), Failure: orNil(a.Failure),
	}
}
