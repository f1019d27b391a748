package api_test

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/labstack/echo/v4"

	"evenrig/api"
	"evenrig/api/web"
	"evenrig/service/conduct"
	"evenrig/service/trial"
)

// tokenStore is a store that knows tokens and nothing else: enough for what happens before a use case is called.
type tokenStore struct {
	trial.Store
	looked int
}

func (s *tokenStore) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	return do(ctx, tokenTx{store: s})
}

// InTx takes what is noted of a token's use for noted.
func (*tokenStore) InTx(context.Context, func(context.Context, trial.Tx) error) error { return nil }

func (*tokenStore) SubmitCatches(context.Context, []trial.CatchSubmission) []trial.CatchOutcome {
	panic("no catch reaches this store")
}

type tokenTx struct {
	trial.ReadTx
	store *tokenStore
}

func (tx tokenTx) TokenByHash(context.Context, trial.Digest) (trial.Token, trial.Account, error) {
	tx.store.looked++
	return trial.Token{Scopes: trial.AllScopes}, trial.Account{ID: trial.ID{1}}, nil
}

func newBareServer(t *testing.T, store trial.Store) (*api.Server, string) {
	t.Helper()
	service := conduct.New(store, conduct.Options{Clock: time.Now})
	t.Cleanup(service.Close)
	server := api.NewServer(service, api.Options{Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	listener := httptest.NewServer(server.Handler())
	t.Cleanup(listener.Close)
	return server, listener.URL
}

// Routes and document agree both ways; the pages stand beside them.
func TestRoutesAreTheDocuments(t *testing.T) {
	server, _ := newBareServer(t, &tokenStore{})
	var routes, documented []string
	var pages []string
	for _, r := range web.New(nil, web.Options{}).Routes() {
		pages = append(pages, r.Method+" "+r.Path)
	}
	for _, r := range server.Handler().(*echo.Echo).Routes() {
		if slices.Contains(pages, r.Method+" "+r.Path) {
			continue
		}
		routes = append(routes, r.Method+" "+regexp.MustCompile(`:(\w+)`).ReplaceAllString(r.Path, "{$1}"))
	}
	for path, item := range document().Paths.Map() {
		for method := range item.Operations() {
			documented = append(documented, method+" "+path)
		}
	}
	slices.Sort(routes)
	slices.Sort(documented)
	for _, r := range routes {
		if !slices.Contains(documented, r) {
			t.Errorf("%s is served and not in the document", r)
		}
	}
	for _, d := range documented {
		if !slices.Contains(routes, d) {
			t.Errorf("%s is in the document and not served", d)
		}
	}
}

// Without a token every operation but the open ones answers 401, whatever else is wrong with the request.
func TestStrangersLearnNothing(t *testing.T) {
	_, url := newBareServer(t, &tokenStore{})
	client := http.Client{Transport: checking{t}}
	for path, item := range document().Paths.Map() {
		for method, op := range item.Operations() {
			if op.Security != nil {
				continue
			}
			at := url + regexp.MustCompile(`\{\w+\}`).ReplaceAllString(path, "not-an-id")
			r, err := http.NewRequestWithContext(t.Context(), method, at, strings.NewReader("{"))
			if err != nil {
				t.Fatal(err)
			}
			for _, header := range []string{"", "Basic b2xkOndheXM=", "Bearer", "Bearer wrong"} {
				r := r.Clone(t.Context())
				r.Body = io.NopCloser(strings.NewReader("{"))
				if header != "" {
					r.Header.Set("Authorization", header)
				}
				answer, err := client.Do(r)
				if err != nil {
					t.Fatal(err)
				}
				answer.Body.Close()
				if answer.StatusCode != http.StatusUnauthorized || answer.Header.Get("WWW-Authenticate") != "Bearer" {
					t.Errorf("%s %s with %q answered %d", method, path, header, answer.StatusCode)
				}
			}
		}
	}
}
