"""Where to sit and where the loudspeakers go."""
