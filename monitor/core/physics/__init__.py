"""Laws of nature: SI and Kelvin, arrays in, arrays out, one file a law."""
