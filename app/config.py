"""Settings, from the environment or a .env file."""

from __future__ import annotations

from pathlib import Path

from pydantic import AliasChoices, Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Every setting of the server. Names in the environment start with ZONEDOCKET_."""

    model_config = SettingsConfigDict(
        env_prefix="ZONEDOCKET_", env_file=".env", extra="ignore", populate_by_name=True
    )

    database_url: str = Field(
        default="sqlite:///zonedocket.db",
        validation_alias=AliasChoices("DATABASE_URL", "ZONEDOCKET_DATABASE_URL"),
        description="sqlite:///file.db (one process) or postgresql://… (any number)",
    )
    setup_key: SecretStr = Field(
        default=SecretStr(""),
        description="who holds it may make meets; without one, `serve` makes one and prints it",
    )
    host: str = Field(default="127.0.0.1", description="the address to listen on")
    port: int = Field(default=8480, ge=0, le=65_535, description="the port to listen on")
    log_requests: bool = Field(
        default=True, description="whether each request has its line in the log"
    )
    picture_mib: int = Field(
        default=2_048, ge=0, description="the MiB that the pictures of one meet may have together"
    )
    changes_a_minute: int = Field(
        default=1_200, ge=1, description="as many changes a minute each session may send"
    )
    seal_folder: Path = Field(
        default=Path("seal"), description="where the meets' private keys lie, encrypted"
    )
    seal_passphrase: SecretStr = Field(
        default=SecretStr(""),
        description="what they are encrypted with; on SQLite `serve` makes one where none is set",
    )
    timestamp_url: str = Field(
        default="", description="a time-stamp authority (RFC 3161) for the papers' seals"
    )
    timestamp_evidence: Path | None = Field(
        default=None,
        description="a PEM file with that authority's certificates and lists of revoked ones, "
        "which papers then take along, so that they can be checked when these are gone",
    )
    public_url: str = Field(
        default="", description="how phones reach the server, for join links; else host and port"
    )

    @property
    def address(self) -> str:
        """The server's address as phones are told it."""
        return self.public_url.rstrip("/") or f"http://{self.host}:{self.port}"
