// Package openapi is the contract of the HTTP interface: the document, and the types, the server interface and the
// client that are generated from it. It imports nothing of the module.
package openapi

import _ "embed"

// Spec is the OpenAPI 3.1 document, in YAML.
//
//go:embed openapi.yaml
var Spec []byte
