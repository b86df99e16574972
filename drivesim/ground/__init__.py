"""Height fields and friction fields; the surface that a wheel centre rides on; imports only the compiler."""
