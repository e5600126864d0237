"""What a musician could edit: rudiments, ostinatos and the names of voices, as TOML beside this."""
