package conduct

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/sha256"
	"errors"
	"io"

	"evenrig/service/trial"
)

// SealKey is the secret under which seeds are sealed. It lives outside the database: who holds only a copy of the
// database cannot compute an arrangement that has not been handed out.
type SealKey [32]byte

// seal encrypts a trial's seed by AES-256-GCM with a random nonce in front; the trial's id is authenticated with it.
func (k SealKey) seal(random io.Reader, id trial.ID, seed [32]byte) ([]byte, error) {
	gcm, err := k.gcm()
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, gcm.NonceSize())
	if _, err := io.ReadFull(random, nonce); err != nil {
		return nil, err
	}
	return gcm.Seal(nonce, nonce, seed[:], id[:]), nil
}

func (k SealKey) open(id trial.ID, sealed []byte) (seed [32]byte, err error) {
	gcm, err := k.gcm()
	if err != nil {
		return seed, err
	}
	if len(sealed) < gcm.NonceSize() {
		return seed, errors.New("the sealed seed is too short")
	}
	plain, err := gcm.Open(nil, sealed[:gcm.NonceSize()], sealed[gcm.NonceSize():], id[:])
	if err != nil {
		return seed, errors.New("the seed cannot be unsealed: the server's key is not the one it was sealed with")
	}
	return [32]byte(plain), nil
}

func (k SealKey) gcm() (cipher.AEAD, error) {
	block, err := aes.NewCipher(k[:])
	if err != nil {
		return nil, err
	}
	return cipher.NewGCM(block)
}

// digest is a keyed digest of words, for names that must be recognised again but not kept.
func (k SealKey) digest(words ...string) trial.Digest {
	m := hmac.New(sha256.New, k[:])
	for _, w := range words {
		m.Write([]byte(w))
		m.Write([]byte{0})
	}
	return trial.Digest(m.Sum(nil))
}
