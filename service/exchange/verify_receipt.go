package exchange

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// Receipt is what an angler got for a record: its place in a chain. A receipt that is known by its hash alone, or by the first digits of
// it, has only Code. Private and PrivateSalt are the private part and its salt, where the angler has them; Trial is zero where the receipt
// does not say it.
type Receipt struct {
	Trial       trial.ID
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

// ReadReceipts reads what an angler holds: a code of 16 to 64 hexadecimal digits, or JSON that has receipts somewhere in it, objects with
// "chain", "n" and "hash", and with "trial", "private" (a text) and "private_salt" if they are known: an answer of the service, or the
// download of one's own data.
func ReadReceipts(text []byte) ([]Receipt, error) {
	trimmed := strings.ToLower(strings.TrimSpace(string(text)))
	if !strings.HasPrefix(trimmed, "{") && !strings.HasPrefix(trimmed, "[") {
		if len(trimmed) < fewestDigits || len(trimmed) > 64 || strings.Trim(trimmed, "0123456789abcdef") != "" {
			return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the receipt %.80q is no code; accepted: %d to 64 hexadecimal digits of its hash, or a file in JSON", trimmed, fewestDigits)
		}
		return []Receipt{{Code: trimmed}}, nil
	}
	var value any
	in := json.NewDecoder(bytes.NewReader(text))
	in.UseNumber()
	if err := in.Decode(&value); err != nil {
		return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the receipt cannot be read as JSON: %v", err)
	}
	var receipts []Receipt
	if err := findReceipts(value, &receipts); err != nil {
		return nil, err
	}
	if len(receipts) == 0 {
		return nil, trial.Fail(trial.Invalid, "receipt.invalid", "the file has no receipt in it; accepted: objects with chain, n and hash")
	}
	return receipts, nil
}

// findReceipts finds every receipt in decoded JSON.
func findReceipts(value any, found *[]Receipt) error {
	switch value := value.(type) {
	case []any:
		for _, inner := range value {
			if err := findReceipts(inner, found); err != nil {
				return err
			}
		}
	case map[string]any:
		chain, isChain := value["chain"].(string)
		n, isNumber := value["n"].(json.Number)
		hash, isHash := value["hash"].(string)
		if isChain && isNumber && isHash {
			r, err := receiptOf(value, chain, n, hash)
			*found = append(*found, r)
			return err
		}
		for _, key := range slices.Sorted(maps.Keys(value)) {
			if err := findReceipts(value[key], found); err != nil {
				return err
			}
		}
	}
	return nil
}

func receiptOf(value map[string]any, chain string, n json.Number, hash string) (r Receipt, err error) {
	var f trial.Faults
	if r.Chain, err = trial.ParseID(chain); err != nil {
		f.Add("chain", "%s", err)
	}
	r.Chain = r.Chain.Public()
	if r.N, err = n.Int64(); err != nil || r.N < 1 {
		f.Add("n", "is %s; accepted: a whole number from 1", n)
	}
	if err := r.Hash.UnmarshalText([]byte(strings.ToLower(hash))); err != nil || r.Hash.IsZero() {
		f.Add("hash", "is %.80q; accepted: 64 hexadecimal digits", hash)
	}
	if of, known := value["trial"].(string); known {
		if r.Trial, err = trial.ParseID(of); err != nil {
			f.Add("trial", "%s", err)
		}
	}
	private, hasPrivate := value["private"].(string)
	if salt, hasSalt := value["private_salt"].(string); hasSalt && hasPrivate {
		decoded, err := hex.DecodeString(salt)
		if err != nil || len(decoded) != 32 {
			f.Add("private_salt", "is %.80q; accepted: 64 hexadecimal digits", salt)
		} else {
			r.Private, r.PrivateSalt = []byte(private), (*[32]byte)(decoded)
		}
	}
	return r, f.Err("receipt.invalid", "the receipt has faults")
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

const textAsReceived = "stands as it was received"

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
		own := OwnFish{Receipt: r.String(), Found: true, Kind: e.Kind, Angler: e.Angler, Entry: e.N, subject: e.Subject, Text: textAsReceived}
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

// FindReceipts tells what became of every receipt, without working the rest of the package out; it reads the ledger once, in bounded
// memory. The error is the package's.
func FindReceipts(p Package, receipts []Receipt) ([]OwnFish, error) {
	v := &verifier{Package: p, options: VerifyOptions{Receipts: receipts}, found: newFindings()}
	chain := newChainCheck(v, p.Facts.Trial.Public(), "")
	for e, err := range p.Ledger {
		if err != nil {
			return nil, err
		}
		if e.Chain != chain.chain {
			chain.end()
			chain = newChainCheck(v, e.Chain, "")
		}
		chain.next(e)
	}
	chain.end()
	err := v.receipts()
	return v.own, err
}

// receipts tells what became of every receipt.
func (v *verifier) receipts() error {
	found := map[string]bool{}
	for _, own := range v.own {
		found[own.Receipt] = true
	}
	elsewhere := 0
	for _, r := range v.options.Receipts {
		if found[r.String()] {
			continue
		}
		if !r.Trial.IsZero() && r.Trial != v.Facts.Trial {
			elsewhere++
			continue
		}
		own := OwnFish{Receipt: r.String(), Text: "is missing: no entry of the ledger has this hash"}
		length, chain := v.lengths[r.Chain]
		switch {
		case r.Code == "" && chain && r.N > length:
			own.Text = "arrived after the records were fixed, and is not part of them"
			v.found.untold(partReceipt, "Records that arrived after the trial was locked are not in the package.")
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
	if len(found) > 0 {
		v.found.agrees(partReceipt, "%d receipts stand in the ledger.", len(found))
	}
	if elsewhere > 0 {
		v.found.untold(partReceipt, "%d receipts are of other trials.", elsewhere)
	}
	return nil
}
