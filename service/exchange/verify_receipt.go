package exchange

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"

	"evenrig/service/trial"
)

// Receipt is what an angler got for a record: its place in a chain. A receipt that is known by its hash alone, or by the first digits of
// it, has only Code. Private and PrivateSalt are the private part and its salt, where the angler has them.
type Receipt struct {
	Chain       trial.ID
	N           int64
	Hash        trial.Digest
	Code        string
	Private     []byte
	PrivateSalt *[32]byte
}

// OwnFish is what became of the record of a receipt.
type OwnFish struct {
	Receipt string `json:"receipt"` // its hash or the digits given
	Found   bool   `json:"found"`
	Kind    string `json:"kind,omitempty"`
	Angler  string `json:"angler,omitempty"`
	Entry   int64  `json:"entry,omitempty"`
	Text    string `json:"text"`
	Proven  *bool  `json:"proven,omitempty"` // by the private part; null where the receipt has none

	subject trial.ID
}

// The number of hexadecimal digits of a code that is looked for.
const fewestDigits = 16

// ReadReceipts reads what an angler holds: a code of 16 to 64 hexadecimal digits, or JSON with one receipt ({"chain", "n", "hash"}, with
// "private" and "private_salt" if there are any), a list of them, or an object that has one under "receipt" or a list under "receipts".
func ReadReceipts(text []byte) ([]Receipt, error) {
	trimmed := strings.ToLower(strings.TrimSpace(string(text)))
	if strings.HasPrefix(trimmed, "{") || strings.HasPrefix(trimmed, "[") {
		return readReceiptJSON(text)
	}
	if len(trimmed) < fewestDigits || len(trimmed) > 64 || strings.Trim(trimmed, "0123456789abcdef") != "" {
		return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the receipt %.80q is no code; accepted: %d to 64 hexadecimal digits of its hash, or a file in JSON", trimmed, fewestDigits)
	}
	return []Receipt{{Code: trimmed}}, nil
}

// sentReceipt is a receipt in JSON.
type sentReceipt struct {
	Chain       trial.ID          `json:"chain"`
	N           int64             `json:"n"`
	Hash        trial.Digest      `json:"hash"`
	Private     json.RawMessage   `json:"private"`
	PrivateSalt string            `json:"private_salt"`
	Receipt     *json.RawMessage  `json:"receipt"`
	Receipts    []json.RawMessage `json:"receipts"`
}

func readReceiptJSON(text []byte) ([]Receipt, error) {
	var list []json.RawMessage
	if json.Unmarshal(text, &list) != nil {
		list = []json.RawMessage{text}
	}
	var receipts []Receipt
	for _, raw := range list {
		var sent sentReceipt
		if err := json.Unmarshal(raw, &sent); err != nil {
			return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the receipt cannot be read: %v; accepted: {\"chain\", \"n\", \"hash\"}", err)
		}
		nested := sent.Receipts
		if sent.Receipt != nil && string(*sent.Receipt) != "null" {
			nested = append(nested, *sent.Receipt)
		}
		for _, inner := range nested {
			more, err := readReceiptJSON(inner)
			if err != nil {
				return nil, err
			}
			receipts = append(receipts, more...)
		}
		if len(nested) > 0 {
			continue
		}
		r := Receipt{Chain: sent.Chain.Public(), N: sent.N, Hash: sent.Hash}
		if r.Hash.IsZero() {
			return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the receipt has no hash; accepted: {\"chain\", \"n\", \"hash\"}")
		}
		if sent.PrivateSalt != "" {
			salt, err := hex.DecodeString(sent.PrivateSalt)
			if err != nil || len(salt) != 32 {
				return nil, trial.Fail(trial.Invalid, "receipt.invalid", "private_salt is %.80q; accepted: 64 hexadecimal digits", sent.PrivateSalt)
			}
			r.PrivateSalt = (*[32]byte)(salt)
			if r.Private = sent.Private; len(r.Private) > 0 && r.Private[0] == '"' {
				var inside string
				if err := json.Unmarshal(sent.Private, &inside); err != nil {
					return nil, trial.Fail(trial.Invalid, "receipt.invalid", "private cannot be read: %v", err)
				}
				r.Private = []byte(inside)
			}
		}
		receipts = append(receipts, r)
	}
	return receipts, nil
}

// String is how the receipt is told from others.
func (r Receipt) String() string {
	if r.Code != "" {
		return r.Code
	}
	return r.Hash.String()
}

// is reports whether the entry is the receipt's.
func (r Receipt) is(e Entry) bool {
	if r.Code != "" {
		return strings.HasPrefix(e.Hash.String(), r.Code)
	}
	return e.Hash == r.Hash
}

// receiptEntry looks whether an entry is one that a receipt tells of, or a correction of such a record.
func (v *verifier) receiptEntry(e Entry) {
	if len(v.options.Receipts) == 0 {
		return
	}
	if e.Kind == trial.LedgerAmendment {
		for i := range v.own {
			if v.own[i].subject == e.Subject && v.own[i].Found && v.own[i].Entry < e.N {
				v.corrected(&v.own[i], e)
			}
		}
	}
	for _, r := range v.options.Receipts {
		if !r.is(e) {
			continue
		}
		own := OwnFish{Receipt: r.String(), Found: true, Kind: e.Kind, Angler: e.Angler, Entry: e.N, subject: e.Subject, Text: "stands as it was received"}
		if r.PrivateSalt != nil {
			proven := trial.PartDigest(*r.PrivateSalt, r.Private) == e.PrivateDigest
			own.Proven = &proven
			if !proven {
				v.found.differs(partReceipt, "the private part of receipt %s is not the one that was entered", r)
			}
		}
		v.own = append(v.own, own)
	}
}

// corrected adds a correction to what is told of an own record.
func (v *verifier) corrected(own *OwnFish, e Entry) {
	by, why := textIn(e.Public, "by"), textIn(e.Public, "reason")
	if by == "" {
		by = string(trial.Angler)
	}
	text := fmt.Sprintf("was corrected in entry %d by %s %s", e.N, by, e.Angler)
	switch {
	case why != "":
		text += ": " + why
	case e.Public == "":
		text += "; what was changed is left out of the package"
	}
	if strings.HasPrefix(own.Text, "was corrected") {
		text = own.Text + "; " + text
	}
	own.Text = text
}

// receipts tells what became of every receipt.
func (v *verifier) receipts() error {
	found := map[string]bool{}
	for _, own := range v.own {
		found[own.Receipt] = true
	}
	for _, r := range v.options.Receipts {
		if found[r.String()] {
			continue
		}
		own := OwnFish{Receipt: r.String(), Text: "is missing: no entry of the ledger has this hash"}
		_, chain := v.lengths[r.Chain]
		switch {
		case r.Code == "" && chain:
			v.found.differs(partReceipt, "receipt %s is of a chain that is here and has no such entry: the record was changed or dropped", r)
		case v.Facts.Withheld > 0 || v.Facts.ErasedAnglers > 0:
			own.Text = "is not here: its angler's rows may be among those left out"
			v.found.untold(partReceipt, "Receipt %s is in no chain that is here; rows of %d anglers are left out and of %d erased.", r, v.Facts.Withheld, v.Facts.ErasedAnglers)
		default:
			v.found.differs(partReceipt, "receipt %s is in no chain: the record was changed or dropped", r)
		}
		v.own = append(v.own, own)
	}
	if n := len(v.options.Receipts); n > 0 {
		v.found.agrees(partReceipt, "Every one of %d receipts stands in the ledger.", n)
	}
	return nil
}
