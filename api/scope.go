package api

import (
	"net/http"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// scopeOf says which scope an operation takes, by its method, path and tags alone, as the contract words it; what carries
// a tag that is not known here takes them all. It is asked in one place, authenticate, before anything else.
func scopeOf(method, path string, tags []string) trial.Scopes {
	own := strings.HasPrefix(path, "/v1/me/")
	switch {
	case path == "/v1/me":
		return 0
	case method == http.MethodGet && !own, path == "/v1/plans":
		return trial.ScopeRead
	case slices.Contains(tags, "anglers"):
		return trial.ScopeLog
	case slices.Contains(tags, "trials"), slices.Contains(tags, "results"):
		return trial.ScopeOrganise
	case slices.Contains(tags, "people"), slices.Contains(tags, "server"):
		return trial.ScopeAccount
	}
	return trial.AllScopes
}

// allow refuses a credential that lacks the operation's scope.
func (op *operation) allow(actor trial.Actor) error {
	if actor.Scopes.Has(op.scope) {
		return nil
	}
	return refuse(http.StatusForbidden, "token.scope", "the token has the scopes %s; this takes %s",
		strings.Join(actor.Scopes.Names(), ", "), strings.Join(op.scope.Names(), ", "))
}
