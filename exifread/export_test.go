package exifread

// DecodeFrom is Preview.Decode from any reader.
var DecodeFrom = Preview.decodeFrom
